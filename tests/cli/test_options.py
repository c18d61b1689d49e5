"""Options override the file, and every one of them reaches its field."""

from pathlib import Path

import pytest
import typer

from moulddesign.cli.options import MOULD, PIECE, RELIEF, STAMPS, demo, design_with, with_design
from moulddesign.core import FileError, SpecError
from moulddesign.design import Design

VALUES = {
    "--name": "other",
    "--weight": 88.0,
    "--ratio": "4:6",
    "--purpose": "not-food",
    "--finish": "frozen",
    "--crust-dough": "flaky",
    "--filling-paste": "bean",
    "--loss": 0.1,
    "--loss-uncertainty": 0.02,
    "--crust-density": 1.1,
    "--crust-density-sd": 0.011,
    "--filling-density": 1.2,
    "--filling-density-sd": 0.012,
    "--centre-mass": 7.0,
    "--centre-density": 1.3,
    "--outline": "square",
    "--width": 61.0,
    "--height": 21.0,
    "--height-to-width": 0.33,
    "--corner-radius": 3.0,
    "--pattern": "lantern",
    "--relief-depth": 0.9,
    "--sense": "sunk",
    "--profile": "pillow",
    "--draft": 22.0,
    "--threshold": 0.4,
    "--thicken": 0.8,
    "--clearance": 0.4,
    "--material": "PLA",
}

BESIDE = {
    "--corner-radius": ("--outline", "square"),
    "--centre-density": ("--centre-mass", 7),
    "--loss-uncertainty": ("--loss", 0.1),
}


def design_of(*arguments):
    """Return the design that typer and the options make of a command line."""
    seen = []
    app = typer.Typer()

    @app.command()
    @with_design(*PIECE, *RELIEF, *STAMPS, *MOULD)
    def verb(design: Design) -> None:
        seen.append(design)

    app(list(map(str, arguments)), standalone_mode=False)
    return seen[0]


def field(design, dotted):
    """Return a field's plain value; the first centre or layer stands for all."""
    tree = design.plain()
    tree["centre"] = (tree["portion"]["centres"] or [{}])[0]
    tree["layer"] = tree["relief"]["layers"][-1]
    for part in dotted.split("."):
        tree = tree[part]
    return tree


@pytest.mark.parametrize("flag", VALUES)
def test_an_option_reaches_its_field_and_no_other(flag):
    (option,) = (o for o in (*PIECE, *RELIEF, *MOULD) if o.flag == flag)
    beside = BESIDE.get(flag, ())
    made = design_of(flag, VALUES[flag], *beside)
    assert field(made, option.field) == VALUES[flag]
    plain = Design()
    for other in (*PIECE, *RELIEF, *MOULD):
        sizes = {"--width", "--height", "--height-to-width"}
        if (
            other.flag in {flag, "--name", *beside}
            or {other.flag, flag} <= sizes
            or other.flag not in VALUES
        ):
            continue
        try:
            before = field(plain, other.field)
        except KeyError:
            continue
        # One size takes the place of another, for with the weight only one is free.
        if flag in sizes and other.flag in sizes:
            continue
        assert field(made, other.field) == before


def test_lettering_lies_over_the_pattern_or_in_its_place():
    both = design_of("--pattern", "sun", "--text", "AB").relief.layers
    assert [(layer.pattern, layer.text) for layer in both] == [("sun", None), (None, "AB")]
    assert [layer.text for layer in design_of("--text", "AB").relief.layers] == ["AB"]
    assert design_of("--pattern", "none").relief.layers == ()


def test_keys_of_a_layer_go_to_every_layer_that_takes_them(tmp_path):
    path = tmp_path / "a.toml"
    layers = "[{ motif = 'beads' }, { pattern = 'sun' }, { text = 'NUT', font_name = 'Other' }]"
    path.write_text(f"[relief]\nlayers = {layers}\n")
    beads, sun, text = design_of(path, "--thicken", 0.8, "--font", "a.ttf").relief.layers
    assert [each.least_stroke_mm for each in (beads, sun, text)] == [0.8, 0.8, 0.8]
    assert (beads.font, sun.font, text.font_name) == (None, None, None)
    assert text.font.endswith("a.ttf")
    seal, rim = (
        design_of("--text", "DATE", *more).relief.layers[0]
        for more in (("--set", "seal"), ("--along", "outline"))
    )
    assert (seal.set, rim.along) == ("seal", "outline")
    with pytest.raises(
        SpecError, match="--along = 'outline': goes to layers of these sources only"
    ):
        design_of("--along", "outline")


def test_without_options_it_is_the_demo():
    assert design_of() == demo()


def test_options_start_from_a_plain_piece_that_is_named_after_what_it_is():
    made = design_of("--weight", 50)
    assert made.portion.centres == ()
    assert made.name == "50g-round-chestnut"
    assert design_of("--pattern", "none", "--outline", "square").name == "75g-square-plain"
    assert design_of("--text", "Nacht der Lichter / 7").name == "75g-round-Nacht-der-Lichter-7"
    drawn = design_of("--outline", Path("art") / "leaf no 2.svg", "--weight", 52.5)
    assert drawn.name == "52.5g-leaf-no-2-chestnut"
    assert design_of("--text", "x" * 200).name == "75g-round-" + "x" * 50
    assert design_of("--weight", 50, "--name", "mine").name == "mine"


def test_a_file_keeps_its_name_and_centres_under_options(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text('name = "own"\n[[portion.centres]]\nname = "date"\nmass_g = 3\n')
    made = design_of(path, "--weight", 50)
    assert (made.name, [c.name for c in made.portion.centres]) == ("own", ["date"])


def test_centres_by_name():
    yolk, date, nameless = design_of(
        "--centre", "salted egg yolk:12", "--centre", "date:5g:1,2", "--centre", ":8"
    ).portion.centres
    assert (yolk.name, yolk.mass_g, yolk.density_g_per_ml) == ("salted egg yolk", 12.0, None)
    assert (date.name, date.mass_g, date.density_g_per_ml) == ("date", 5.0, 1.2)
    assert (nameless.name, nameless.mass_g) == ("centre", 8.0)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--centre", "date"), r"--centre = 'date': must be NAME:GRAMS"),
        (("--centre", "a:1:2:3"), r"must be NAME:GRAMS or NAME:GRAMS:DENSITY"),
        (("--centre", "date:five"), r"'five': must be a number such as 12.5 g"),
        (("--centre", "date:nan"), r"must be a number"),
        (("--centre", "date:1,250"), r"could be 1250 or 1.250"),
        (("--centre", "date:0"), r"\(the first centre\) = 0.0: must be above 0 g"),
        (("--centre", "date:5 mm"), r"'5 mm'"),
        (("--centre", "date:5", "--centre-mass", 4), r"^--centre-mass = 4.0: does nothing beside"),
        (("--centre", "date:5", "--centre-density", 1), r"^--centre-density = 1.0: does nothing"),
        (("--centre-density", 1.1), r"--centre-density = 1.1: needs a centre to change"),
    ],
)
def test_a_centre_that_cannot_be_is_refused(arguments, sentence):
    with pytest.raises(SpecError, match=sentence):
        design_of(*arguments)


def test_a_size_takes_the_place_of_the_files_size(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text("[pastry]\nheight_mm = 20\n")
    table = design_of(path, "--width", 55).pastry
    assert (table.width_mm, table.height_mm) == (55.0, None)


def test_a_centre_of_no_mass_is_no_centre():
    assert demo().portion.centres
    assert design_of("--centre-mass", 0).portion.centres == ()


def test_a_centre_keeps_what_is_not_given(tmp_path):
    path = tmp_path / "a.toml"
    path.write_text('[[portion.centres]]\nname = "nut"\nmass_g = 3\ndensity_g_per_ml = 0.9\n')
    (centre,) = design_of(path, "--centre-mass", 4).portion.centres
    assert (centre.name, centre.mass_g, centre.density_g_per_ml) == ("nut", 4.0, 0.9)


def test_a_file_that_is_missing_is_said():
    with pytest.raises(FileError, match="cannot be read"):
        design_of(Path("no-such-file.toml"))


def test_each_further_pattern_is_a_stamp_of_its_name():
    drawing = Path("art") / "wasp nest.svg"
    arguments = ("bee", drawing, "none")
    design = design_of(*(part for name in arguments for part in ("--also-pattern", name)))
    assert [stamp.name for stamp in design.further_stamps] == ["bee", "wasp nest", "plain"]
    drawn = [[layer.pattern for layer in stamp.layers] for stamp in design.further_stamps]
    assert drawn == [["bee"], [str(drawing)], []]


def test_each_further_face_is_a_stamp_of_its_name():
    design = design_of("--face", "moon", "--also-face", "sun", "--also-pattern", "sun")
    assert [stamp.name for stamp in design.further_stamps] == ["sun", "carved-sun"]
    drawn = [stamp.face and stamp.face.name for stamp in design.further_stamps]
    assert drawn == [None, "sun"]
    with pytest.raises(SpecError, match="not the name of a bundled face; the nearest is sun"):
        design_of("--also-face", "sunn")


def test_further_patterns_take_the_place_of_the_files_stamps(tmp_path):
    text = '[[further_stamps]]\nname = "sun"\nlayers = [{ pattern = "sun" }]\n'
    (tmp_path / "cake.toml").write_text(text)
    kept = design_of(tmp_path / "cake.toml", "--pattern", "bee")
    assert [stamp.name for stamp in kept.further_stamps] == ["sun"]
    other = design_of(tmp_path / "cake.toml", "--also-pattern", "wren")
    assert [stamp.name for stamp in other.further_stamps] == ["wren"]


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (
            ["bee", "bee"],
            r"^further_stamps.2.name \(the second further stamp\) = 'bee': is the name",
        ),
        (["blank"], r"= 'blank': must not end in blank"),
        ([""], r"must not be empty"),
        (["a/b"], r"must not hold '/'"),
    ],
)
def test_further_patterns_that_cannot_name_a_stamp_are_refused(arguments, sentence):
    with pytest.raises(SpecError, match=sentence):
        design_of(*(part for name in arguments for part in ("--also-pattern", name)))


@pytest.mark.parametrize("kind", ["block", "cast"])
def test_only_a_press_takes_further_patterns(kind):
    with pytest.raises(SpecError, match=rf"^mould.kind = '{kind}': has no stamps to swap"):
        design_of("--kind", kind, "--also-pattern", "bee")


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--width", 50, "--height", 20), "width_mm and height_mm are given together"),
        (("--outline", "triangel"), "must be one of round, square, .* the nearest is"),
    ],
)
def test_a_shape_that_cannot_be_is_one_sentence(arguments, sentence):
    with pytest.raises(SpecError, match=sentence):
        design_of(*arguments)


@pytest.mark.parametrize("outline", ["round", "scalloped"])
def test_a_corner_radius_is_refused_where_no_corner_is_left(tmp_path, outline):
    need = rf"pastry\.corner_radius_mm = 5.0: does nothing for the outline {outline}; .* hexagon or"
    with pytest.raises(SpecError, match=need):
        design_of("--outline", outline, "--corner-radius", "5")
    file = tmp_path / "design.toml"
    file.write_text(design_of("--outline", outline).toml())  # with every key, as it is published
    assert design_of(file).pastry.outline == outline
    assert design_of(file, "--outline", "octagon", "--corner-radius", "5").pastry.lobes == 12


def test_a_face_by_name_takes_the_place_of_the_layers():
    design = design_of("--face", "sun")
    assert (design.face.name, design.relief.layers) == ("sun", ())
    assert design_of("--face", "sun", "--text", "OAK").relief.layers[0].text == "OAK"
    assert design_of("--face", "none").face is None


def test_an_unknown_face_names_the_nearest():
    with pytest.raises(SpecError, match="nearest is sun"):
        design_of("--face", "sum")


def test_a_carving_joins_the_face_that_is_named_and_clears_the_layers(tmp_path):
    file = str(tmp_path / "quince.png")
    made = design_with(None, {"face.name": "seal", "carving.file": file, "carving.depth_mm": 3.0})
    alone = design_with(None, {"carving.file": file})

    assert (made.face.name, made.relief.layers) == ("seal", ())
    assert [(c.file, c.depth_mm) for c in made.face.carvings] == [(file, 3.0)]
    assert (alone.face.name, alone.relief.layers) == (None, ())


def test_a_depth_without_a_carving_is_told():
    with pytest.raises(SpecError, match="--carving"):
        design_with(None, {"carving.depth_mm": 3.0})
