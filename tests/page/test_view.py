"""The 3D view by its pixels: readable relief, cuts with their sizes, turning within limits."""

import re

import kept_designs
import numpy as np
import pytest
import trimesh
from page.person import drawn, picked, shot

from moulddesign.design import Design
from moulddesign.page.address import encode_design

LUMINANCE = """async ([bytes, share]) => {
  const image = await createImageBitmap(new Blob([new Uint8Array(bytes)]));
  const canvas = new OffscreenCanvas(image.width, image.height);
  const pen = canvas.getContext("2d");
  pen.drawImage(image, 0, 0);
  const wide = Math.round(image.width * share[0]), high = Math.round(image.height * share[1]);
  const left = (image.width - wide) >> 1, top = Math.round(image.height * share[2]);
  const data = pen.getImageData(left, top, wide, high).data;
  const linear = (value) => (value / 255 <= 0.04045 ? value / 255 / 12.92
    : ((value / 255 + 0.055) / 1.055) ** 2.4);
  const found = [];
  for (let i = 0; i < data.length; i += 4) {
    const [red, green, blue] = [...data.slice(i, i + 3)].map(linear);
    found.push(0.2126 * red + 0.7152 * green + 0.0722 * blue);
  }
  return found.sort((a, b) => a - b);
}"""
"""Relative luminance of WCAG 2.2 of what lies in the middle of the canvas, sorted."""

TOP_OF_PIECE = (0.3, 0.16, 0.32)
"""Width, height and upper end of a piece's top in the picture, as shares of it."""

READABLE = 1.6
"""Contrast of dark and pale places of a top by WCAG's formula; our choice: 1 is no contrast."""


FACE = {
    "bands": [{"width_mm": 3.0}],
    "crowns": [{"count": 12, "from_ratio": 0.65}],
    "medallion": {"radius_ratio": 0.6},
}
"""A carved face that is soon made."""


def contrast(page) -> float:
    """Return the contrast of the darker and the paler tenth of a piece's top."""
    picture = page.locator(".viewport canvas").screenshot()
    found = page.evaluate(LUMINANCE, [list(picture), TOP_OF_PIECE])
    dark, pale = found[len(found) // 10], found[-len(found) // 10]
    return (pale + 0.05) / (dark + 0.05)


@pytest.mark.parametrize(
    "name", ["face", *(pytest.param(name, marks=pytest.mark.slow) for name in ("relief", "plain"))]
)
def test_relief_stands_out_from_its_ground_and_a_plain_top_does_not(visit, name):
    flat = kept_designs.kept("chestnut-75")
    plain = flat.with_values({"relief.layers": []})
    designs = {"relief": flat, "plain": plain, "face": plain.with_values({"face": FACE})}
    page = visit(f"?design={encode_design(designs[name])}")
    drawn(page)
    page.wait_for_selector(".view[data-light=fine]")
    page.wait_for_timeout(300)
    shot(page, f"look-{name}")
    assert (contrast(page) > READABLE) == (name != "plain")
    if name == "face":  # tapped, its card changes the design
        box, before = page.locator(".viewport canvas").bounding_box(), page.url
        page.mouse.click(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.4)
        page.wait_for_selector(".face-card >> text=Medallion")
        page.wait_for_selector(".entry-area", state="attached")
        page.fill(".face-card [data-key=radius_ratio]", "50")
        page.keyboard.press("Tab")
        page.wait_for_function(f"location.href !== '{before}'")


def new_picture(page, seen: set[bytes]) -> bytes:
    """Return what is shown once it is none of the pictures seen before, and rests."""
    for _ in range(100):
        page.wait_for_timeout(600)
        picture = page.locator(".viewport canvas").screenshot()
        if picture not in seen:
            return picture
    raise AssertionError(len(seen))


def test_a_cut_says_its_sizes_and_the_mould_is_laid_out_and_opened(visit):
    page = visit()
    drawn(page, "mould")
    pictures = set()
    for place, name in enumerate(("piece", "cut", "parts", "open")):
        page.locator(".views button").nth(place).click()
        page.wait_for_selector(f".view[data-view={name}]")
        pictures.add(new_picture(page, pictures))
        if name == "cut":
            page.wait_for_selector(".view-overlay text", state="attached")  # once it rests
            said = " ".join(page.locator(".view-overlay text").all_text_contents())
            assert re.search(r"crust 2\.\d mm all round", said)
            assert "piece of date 19 mm" in said
        shot(page, f"view-{name}")
    page.locator(".views button").nth(2).click()
    page.select_option("#part-shown", "stop")
    new_picture(page, pictures)
    page.locator(".views button").nth(1).click()
    with page.expect_response(lambda answer: "/cut-" in answer.url):
        page.press("#cut-place", "ArrowLeft")
    page.wait_for_selector(".cut-card >> text=0.5 mm in front of the middle")
    page.wait_for_selector(".view-overlay .size", state="detached")  # sizes are of the middle
    page.press("#cut-share", "ArrowRight")
    page.wait_for_function("document.querySelector('#design-portion-ratio').value === '3.5:6.5'")


def way(page) -> tuple[float, ...]:
    """Return how one looks: degrees around and up, and zoom."""
    return tuple(map(float, page.get_attribute(".view", "data-way").split()))


def test_keys_turn_and_zoom_within_limits_and_never_show_the_piece_from_below(visit):
    page = visit()
    drawn(page)
    page.wait_for_selector(".view:not([data-way=''])")
    start, start_way = way(page), page.get_attribute(".view", "data-way")
    page.focus(".viewport canvas")
    page.keyboard.press("ArrowRight")
    page.wait_for_function("+document.querySelector('.view').dataset.way.split(' ')[0] !== -110")
    assert way(page)[0] == pytest.approx(start[0] + 7.5, abs=1.0)
    for key, place, limit in (("ArrowDown", 1, (0, 10)), ("+", 2, (3, 5)), ("-", 2, (0.2, 1))):
        for _ in range(25):
            page.keyboard.press(key)
        page.wait_for_timeout(400)
        assert limit[0] < way(page)[place] < limit[1]
    page.emulate_media(reduced_motion="no-preference")
    page.keyboard.press("0")  # it turns back in steps
    page.wait_for_function(f"document.querySelector('.view').dataset.way === '{start_way}'")
    page.emulate_media(reduced_motion="reduce")


COARSENED = """async ([vertices, normals, triangles, high]) => {
  const { coarsened } = await import("moulddesign-scene");
  const body = {
    vertices: new Float32Array(vertices), normals: new Int8Array(normals),
    triangles: new Uint32Array(triangles), low: high.map((most) => -most), high,
  };
  const made = coarsened(body);
  return [made.vertices, made.normals, made.triangles].map((array) => [...array]);
}"""


def test_a_body_that_moves_keeps_its_shape_with_fewer_triangles(visit):
    ball = trimesh.creation.icosphere(subdivisions=6, radius=10.0)
    ways = np.column_stack([np.rint(127.0 * ball.vertex_normals), np.zeros(len(ball.vertices))])
    page = visit()
    sent = [ball.vertices.ravel(), ways.ravel(), ball.faces.ravel(), [10.0] * 3]
    made = page.evaluate(COARSENED, [np.asarray(array).tolist() for array in sent])
    vertices, normals, triangles = (np.array(array) for array in made)
    vertices, normals = vertices.reshape(-1, 3), normals.reshape(-1, 4)[:, :3] / 127.0
    light = trimesh.Trimesh(vertices, triangles.reshape(-1, 3))  # corners welded by trimesh
    assert 0 < len(light.faces) < 0.7 * len(ball.faces)
    assert light.is_watertight
    assert np.linalg.norm(light.vertices, axis=1) == pytest.approx(10.0, abs=1e-3)
    # a corner goes at most across its cell, a 90th of the body wide: sqrt(3) 20/90 = 0.39 mm
    assert light.volume == pytest.approx(4.0 / 3.0 * np.pi * 10.0**3, rel=0.01)
    # and a normal is that of a corner which shares its cell
    cos_least = 1.0 - 0.39**2 / (2.0 * 10.0**2)
    assert ((vertices / 10.0) * normals).sum(axis=1).min() > cos_least - 0.01


def test_a_swipe_sideways_turns_the_piece(visit):
    page = visit(viewport={"width": 390, "height": 700}, has_touch=True)
    drawn(page)
    page.wait_for_selector(".view:not([data-way=''])")
    box, start = page.locator(".viewport canvas").bounding_box(), way(page)
    page.context.new_cdp_session(page).send("Input.synthesizeScrollGesture", {
        "x": box["x"] + box["width"] / 2, "y": box["y"] + 200, "speed": 300,
        "xDistance": -120, "gestureSourceType": "touch",
    })  # fmt: skip
    page.wait_for_function(
        f"+document.querySelector('.view').dataset.way.split(' ')[0] > {start[0]}"
    )
    assert way(page)[1:] == start[1:]


def flat_with_two_layers() -> str:
    """Return the address of a flat piece with a wren within a ring of beads."""
    layers = [{"pattern": "wren", "size_mm": 20.0}, {"motif": "beads"}]
    design = kept_designs.kept("chestnut-75").with_values({"relief.layers": layers})
    return f"?design={encode_design(design)}"


def number(page, place: int) -> str:
    """Return a number of the card of the layer that is selected: right, up, turn, size."""
    return page.locator(".layer-card input").nth(place).input_value()


def at_rest(page, selector):
    """Return the place of what is on its way, once it stands still."""
    box = None
    while (now := page.locator(selector).bounding_box()) != box:
        box = now
        page.wait_for_timeout(200)
    return box


def test_a_layer_is_tapped_dragged_snapped_turned_and_sized(visit):
    page = visit(flat_with_two_layers())
    before = drawn(page)
    page.wait_for_selector(".view:not([data-way=''])")
    box = page.locator(".viewport canvas").bounding_box()
    middle = box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.4
    page.mouse.click(*middle)
    page.wait_for_selector(".layer-card >> text=wren")
    box = at_rest(page, "[data-handle=move]")  # its card has moved the piece
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(*middle)
    page.mouse.down()
    page.mouse.move(middle[0] + 130, middle[1], steps=4)
    page.wait_for_selector(".layer-card .trouble >> text=reaches past the rim")
    shot(page, "layer-dragged")
    page.mouse.move(middle[0] + 30, middle[1], steps=4)
    page.wait_for_selector(".layer-card .trouble", state="detached")
    page.mouse.up()
    page.wait_for_function(f"+document.querySelector('.view').dataset.drawn > {before}")
    assert float(number(page, 0)) > 2
    assert page.input_value("#design-relief-layers-0-x_mm") == number(page, 0).removesuffix(".0")
    page.keyboard.press("0")
    page.wait_for_function("document.querySelector('#design-relief-layers-0-x_mm').value === '0'")
    page.focus("[data-handle=turn]")
    page.keyboard.press("[")
    page.keyboard.press("+")
    page.wait_for_function(
        "document.querySelector('#design-relief-layers-0-turn_deg').value === '5'"
    )
    assert page.input_value("#design-relief-layers-0-size_mm") == "20.6"  # 3 % of 20 mm more
    page.keyboard.press("]")  # what was changed is kept, however soon one goes on
    page.keyboard.press("n")
    page.wait_for_selector(".layer-card >> text=beads")
    page.wait_for_function(
        "document.querySelector('#design-relief-layers-0-turn_deg').value === '0'"
    )
    page.keyboard.press("Escape")
    page.wait_for_selector(".layer-card", state="detached")


LOG = """() => {
  const view = document.querySelector(".view");
  window.seen = [];
  const options = { attributes: true, attributeFilter: ["data-stage", "data-size", "data-drawn"] };
  new MutationObserver(() => window.seen.push({ ...view.dataset })).observe(view, options);
}"""
"""Keeps what is said of each picture that is drawn from now on."""


def size_mm(shown):
    """Return width, depth and height of the pastry as it is drawn."""
    return [float(one) for one in shown["size"].split()]


def test_a_change_of_weight_moves_what_is_drawn_until_the_true_piece_comes(visit):
    page = visit(f"?design={encode_design(Design.of({'face': FACE}))}")
    drawn(page, "mould")
    page.wait_for_selector(".verdict-line")
    weights = page.locator(".strip").inner_text()
    page.evaluate(LOG)
    first = size_mm(page.evaluate("({ ...document.querySelector('.view').dataset })"))
    page.click("[data-choice=weight] .stepper button >> nth=1")
    page.wait_for_function("window.seen.some((one) => +one.drawn > 1)")
    assert page.locator(".strip").inner_text() != weights
    quick, *_, true = page.evaluate("window.seen")
    # The old mesh in another size, then the true one; a coarse one would look worse meanwhile.
    assert [quick["stage"], true["stage"]] == ["resized", "pastry"]
    assert quick["drawn"] == "1"
    assert size_mm(quick) != pytest.approx(first, abs=0.05)
    assert size_mm(quick) == pytest.approx(size_mm(true), rel=0.01, abs=0.2)
    # Another outline cannot be had from what is there.
    page.evaluate("window.seen.length = 0")
    picked(page, "outline", "square")
    page.wait_for_function("window.seen.some((one) => +one.drawn > 2)")
    assert {one["stage"] for one in page.evaluate("window.seen")} <= {"mould", "coarse", "pastry"}


def fingers(page, *ways, steps=6):
    """Move fingers on a touch screen, each along its way, all of them at once."""
    session = page.context.new_cdp_session(page)
    for step in range(steps + 1):
        points = [
            {
                "id": n,
                "x": a[0] + (b[0] - a[0]) * step / steps,
                "y": a[1] + (b[1] - a[1]) * step / steps,
            }
            for n, (a, b) in enumerate(ways)
        ]
        kind = "touchMove" if step else "touchStart"
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    for left in range(len(ways) - 1, -1, -1):
        session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": points[:left]})


def test_on_a_phone_two_fingers_scale_a_picture_where_it_lies_and_warnings_can_be_read(visit):
    thin = kept_designs.kept("chestnut-75").with_values({"portion.ratio": "5:5"})
    page = visit(
        f"?design={encode_design(thin)}", viewport={"width": 390, "height": 844}, has_touch=True
    )
    drawn(page)
    box = page.locator(".viewport canvas").bounding_box()
    x, y = box["x"] + box["width"] * 0.45, box["y"] + box["height"] * 0.4
    page.touchscreen.tap(x, y)
    numbers = page.locator(".layer-card input")
    numbers.first.wait_for()
    right, up, turn, size = [float(one.input_value()) for one in numbers.all()]
    page.evaluate("before = location.href")
    fingers(page, ((x - 40, y), (x - 20, y)), ((x + 40, y), (x + 20, y)))
    page.wait_for_function("location.href !== before")
    after = [float(one.input_value()) for one in numbers.all()]
    assert after[:3] == [right, up, turn]
    assert after[3] == pytest.approx(size / 2.0, abs=0.1)
    page.click(".views >> text=Cut")
    page.wait_for_selector(".size.thin")
    # All at once: what is drawn meanwhile takes the place of what was there.
    boxes = "all => all.map(one => one.getBoundingClientRect().toJSON())"
    texts = page.locator("text.size").evaluate_all(boxes)
    (zooms,) = page.locator(".zooms").evaluate_all(boxes)
    assert texts
    for placed in texts:
        assert placed["left"] >= 0.0
        assert placed["right"] <= 390.0
        assert placed["right"] <= zooms["left"] or placed["top"] >= zooms["bottom"]
