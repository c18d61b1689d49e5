# ruff: noqa: E501 (a drawing stands on one line beside what it shows)
"""SVG drawings against closed forms, against the specification's own words, and against resvg."""

from io import BytesIO
from itertools import product
from math import cos, pi, sin, sqrt, tau

import numpy as np
import pytest
import resvg_py
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from moulddesign.artwork.polygons import FLATNESS, crossing_count, fill_nonzero, multipolygon
from moulddesign.artwork.svg import svg_regions
from moulddesign.core import FileError, KernelError

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" {frame}>'
FRAME = 'viewBox="0 0 100 100"'


@pytest.fixture
def drawn(tmp_path):
    """Return regions of the elements of a drawing 100 units wide."""

    def read(body, frame=FRAME):
        path = tmp_path / "drawing.svg"
        path.write_text(HEAD.format(frame=frame) + body + "</svg>", encoding="utf-8")
        return svg_regions(path)

    return read


def one(regions):
    (region,) = regions
    assert region.shape.is_valid
    return region.shape


def area_tolerance(perimeter):
    # chords lie within FLATNESS of the curve; the float32 of a stroke and Clipper's grid add less
    return perimeter * FLATNESS * 1.1


def cross(a, b):
    return a[0] * b[1] - a[1] * b[0]


def cubic_area(p0, p1, p2, p3):
    """Area that a cubic sweeps about the origin: Green's integral of (x dy - y dx) / 2."""
    return (
        6 * cross(p0, p1) + 3 * cross(p0, p2) + cross(p0, p3)
        + 3 * cross(p1, p2) + 3 * cross(p1, p3) + 6 * cross(p2, p3)
    ) / 20.0  # fmt: skip


CUBIC = ((100, 200), (100, 100), (250, 100), (250, 200))
SMOOTH = ((250, 200), (250, 300), (400, 300), (400, 200))


@pytest.mark.parametrize(
    ("d", "area"),
    [
        pytest.param(
            "M 100 100 L 300 100 L 200 300 z", 20_000, id="SVG 2, 9.3.3 example triangle01"
        ),
        pytest.param(
            "M100 100L300 100L200 300z", 20_000, id="SVG 2, 9.3.1 superfluous white space"
        ),
        pytest.param(
            "M 100 100 200 200", 0, id="SVG 2, 9.3.1 repeated letters, a line has no area"
        ),
        pytest.param(
            "m100 100 200 0-100 200z", 20_000, id="SVG 2, 9.3.9 grammar, sign as separator"
        ),
        pytest.param("M100,100h200v200H100z", 40_000, id="SVG 2, 9.3.4 horizontal and vertical"),
        pytest.param(
            "M.5.5h99.5v99.5h-99.5Z", 99.5**2, id="SVG 2, 9.3.9 grammar, dot as separator"
        ),
        pytest.param("M1.e1 007h1E+2v100h-100", 10_000, id="SVG 2, 9.3.9 grammar, exponents"),
        pytest.param(
            "M0 0h9v9h-9zm100 100h10v10h-10z", 181, id="SVG 2, 9.3.4 moveto after closepath"
        ),
        pytest.param(
            "M50 50h9v9h-9zh-9v-9h9z", 162, id="SVG 2, 9.3.4 next subpath at the same point"
        ),
        pytest.param("M0 0h10v10h-10z L oops", 100, id="SVG 2, 9.5.4 drawn up to the error"),
    ],
)
def test_path_grammar_has_the_area_of_its_polygon(drawn, d, area):
    known = '<rect x="990" y="990" width="10" height="10"/>'  # so that nothing is empty
    body = f'{known}<path d="{d}"/>'
    shape = one(drawn(body, 'viewBox="0 0 1000 1000"'))
    assert shape.area * 1e6 - 100 == pytest.approx(area, abs=1e6 * 1e-8 * shape.length)


def test_cubic_and_smooth_cubic_have_greens_area(drawn):
    # SVG 2, 9.3.6, example cubic01: M100,200 C100,100 250,100 250,200 S400,300 400,200
    shape = one(
        drawn(
            '<path d="M100,200 C100,100 250,100 250,200 S400,300 400,200"/>',
            'viewBox="0 0 500 500"',
        )
    )
    arch = abs(cubic_area(*CUBIC) + cross(CUBIC[3], CUBIC[0]) / 2)
    bowl = abs(cubic_area(*SMOOTH) + cross(SMOOTH[3], SMOOTH[0]) / 2)
    assert shape.area * 500**2 == pytest.approx(
        arch + bowl, abs=500**2 * area_tolerance(shape.length)
    )


def test_quadratic_and_smooth_quadratic_have_archimedes_area(drawn):
    # SVG 2, 9.3.7, example quad01: M200,300 Q400,50 600,300 T1000,300; a parabola's segment is two
    # thirds of the triangle of its control points (Archimedes, Quadrature of the Parabola)
    shape = one(drawn('<path d="M200,300 Q400,50 600,300 T1000,300"/>', 'viewBox="0 0 1200 600"'))
    each = 2.0 / 3.0 * 400 * 250 / 2.0
    assert shape.area * 1200**2 == pytest.approx(
        2 * each, abs=1200**2 * area_tolerance(shape.length)
    )


@pytest.mark.parametrize(
    ("d", "area"),
    [  # SVG 2, 9.3.8, example arcs01: three quarters and a quarter of a pie
        pytest.param(
            "M300,200 h-150 a150,150 0 1,0 150,-150 z", 0.75 * pi * 150**2, id="large arc"
        ),
        pytest.param(
            "M275,175 v-150 a150,150 0 0,0 -150,150 z", 0.25 * pi * 150**2, id="small arc"
        ),
        pytest.param(
            "M300,200h-150a150 150 0 10150-150z", 0.75 * pi * 150**2, id="flags run together"
        ),
        pytest.param("M100 200 a50 50 0 0 1 200 0 z", 0.5 * pi * 100**2, id="radii scaled up"),
        pytest.param("M100 200 a-100 -100 0 0 1 200 0 z", 0.5 * pi * 100**2, id="negative radii"),
        pytest.param("M100 200 a100 50 30 0 1 0 0 M100 100h100v100h-100z", 1e4, id="no length"),
        pytest.param("M100 100 h100 a0 50 0 0 1 0 100 h-100z", 1e4, id="no radius is a line"),
        pytest.param(
            "M100 100 h100 a1e-200 50 0 0 1 0 100 h-100z", 1e4, id="almost no radius is a line"
        ),
        pytest.param(
            "M150 200 a100 50 30 1 0 173.20508 100 a100 50 30 1 0 -173.20508 -100z",
            pi * 100 * 50,
            id="turned ellipse",
        ),
    ],
)
def test_arcs_have_the_area_of_their_ellipse(drawn, d, area):
    shape = one(drawn(f'<path d="{d}"/>', 'viewBox="0 0 500 500"'))
    assert shape.area * 500**2 == pytest.approx(area, abs=500**2 * area_tolerance(shape.length))


def test_every_point_of_a_circle_lies_on_it(drawn):
    ring = shapely.get_coordinates(one(drawn('<circle cx="50" cy="50" r="40"/>')))
    # Clipper's step of 1e-8 on either axis
    assert np.abs(np.hypot(*ring.T) - 0.4).max() < 2e-8
    middles = (ring[1:] + ring[:-1]) / 2.0
    assert 0.4 - np.hypot(*middles.T).min() <= FLATNESS * 1.001


@pytest.mark.parametrize(
    ("body", "area"),
    [
        pytest.param('<rect x="10" y="10" width="40" height="20"/>', 800, id="SVG 2, 10.2 rect"),
        pytest.param(
            '<rect width="40" height="20" rx="5"/>', 800 - (4 - pi) * 25, id="SVG 2, 10.2 rx alone"
        ),
        pytest.param(
            '<rect width="40" height="20" rx="50" ry="50"/>',
            200 * pi,
            id="SVG 2, 10.2 radii cut to half",
        ),
        pytest.param(
            '<rect width="50%" height="20mm" transform="scale(1 .1)"/>',
            50 * 2 * 96 / 25.4,
            id="SVG 2, 7.9 units",
        ),
        pytest.param('<circle cx="50" cy="50" r="20"/>', 400 * pi, id="SVG 2, 10.3 circle"),
        pytest.param(
            '<ellipse cx="50" cy="50" rx="20" ry="10"/>', 200 * pi, id="SVG 2, 10.4 ellipse"
        ),
        pytest.param('<ellipse cx="50" cy="50" rx="20"/>', 400 * pi, id="SVG 2, 10.4 ry is auto"),
        pytest.param('<polygon points="10,10 30,10 20 30"/>', 200, id="SVG 2, 10.7 polygon"),
        pytest.param(
            '<polyline points="10,10 30,10 20 30"/>', 200, id="SVG 2, 10.6 open, filled as closed"
        ),
        pytest.param(
            '<polygon points="10,10 30,10 20 30 99"/>', 200, id="SVG 2, 10.5 odd number of values"
        ),
    ],
)
def test_basic_shapes_have_their_closed_form(drawn, body, area):
    shape = one(drawn(body))
    assert shape.area * 1e4 == pytest.approx(area, abs=1e4 * area_tolerance(shape.length))


@pytest.mark.parametrize("rule", ["nonzero", "evenodd"], ids="SVG 2, 13.4.2 {}".format)
def test_star_follows_its_fill_rule(drawn, rule):
    # a pentagram: by the even-odd rule its middle pentagon is a hole
    tips = [(50 + 40 * sin(2 * k * tau / 5), 50 - 40 * cos(2 * k * tau / 5)) for k in range(5)]
    inner = 40 * cos(tau / 5) / cos(tau / 10)
    middle = 2.5 * inner**2 * sin(tau / 5)
    outer = 5 * 40 * inner * sin(tau / 10)
    points = " ".join(f"{x!r},{y!r}" for x, y in tips)
    shape = one(drawn(f'<polygon fill-rule="{rule}" points="{points}"/>'))
    expected = outer if rule == "nonzero" else outer - middle
    assert shape.area * 1e4 == pytest.approx(expected, abs=1e4 * 1e-8 * shape.length)


LINE = '<path d="M20 50H80" fill="none" stroke="black" stroke-width="10" {more}/>'
ANGLE = '<path d="M20 80L50 20L80 80" fill="none" stroke="black" stroke-width="8" {more}/>'


def mitred_area(corner):
    """Return the area of a stroked angle of two legs: the legs, less what they share, plus the corner piece."""
    leg = sqrt(30**2 + 60**2)
    half = np.arctan2(30, 60)  # half the angle between the legs
    kite = 4.0**2 / np.tan(half)  # each leg's end: inside it covers what the other covers
    bevel = 0.5 * 8 * 4 * np.cos(half) * np.sin(half) * 2 * 0.5
    piece = {"miter": kite, "bevel": bevel, "round": 0.5 * 16 * (pi - 2 * half)}[corner]
    return 2 * leg * 8 - kite + piece


@pytest.mark.parametrize(
    ("body", "area"),
    [
        pytest.param(LINE.format(more=""), 600, id="SVG 2, 13.5.2 butt"),
        pytest.param(LINE.format(more='stroke-linecap="square"'), 700, id="SVG 2, 13.5.2 square"),
        pytest.param(
            LINE.format(more='stroke-linecap="round"'), 600 + 25 * pi, id="SVG 2, 13.5.2 round"
        ),
        pytest.param(LINE.format(more='stroke-dasharray="6 4"'), 360, id="SVG 2, 13.5.6 dashes"),
        pytest.param(
            LINE.format(more='stroke-dasharray="5"'), 300, id="SVG 2, 13.5.6 odd count repeats"
        ),
        pytest.param(
            LINE.format(more='stroke-dasharray="10 50" stroke-dashoffset="5"'),
            100,
            id="SVG 2, 13.5.6 dash offset: 5 left of one dash, 5 of the next",
        ),
        pytest.param(
            LINE.format(more='stroke-dasharray="0 20" stroke-linecap="round"'),
            4 * 25 * pi,
            id="SVG 2, 13.5.6 dashes of no length are dots",
        ),
        pytest.param(
            LINE.format(more='stroke-dasharray="0 0"'), 600, id="SVG 2, 13.5.6 all zero is whole"
        ),
        pytest.param(
            '<path d="M50 50z" stroke="black" stroke-width="20" stroke-linecap="round"/>',
            100 * pi,
            id="SVG 2, 13.5.2 a subpath of no length",
        ),
        pytest.param(
            '<circle cx="50" cy="50" r="30" fill="none" stroke="black" stroke-width="6"/>',
            pi * (33**2 - 27**2),
            id="annulus",
        ),
        pytest.param(
            '<rect x="20" y="20" width="60" height="60" fill="none" stroke="black" stroke-width="10"/>',
            70**2 - 50**2,
            id="square ring, mitred",
        ),
        pytest.param(
            '<g transform="scale(2 .5)"><path d="M10 100H40" stroke="black" stroke-width="10"/></g>',
            60 * 5,
            id="SVG 2, 13.5.2 stroked before it is stretched",
        ),
        pytest.param(ANGLE.format(more=""), mitred_area("miter"), id="SVG 2, 13.5.4 mitre"),
        pytest.param(
            ANGLE.format(more='stroke-linejoin="bevel"'),
            mitred_area("bevel"),
            id="SVG 2, 13.5.4 bevel",
        ),
        pytest.param(
            ANGLE.format(more='stroke-linejoin="round"'),
            mitred_area("round"),
            id="SVG 2, 13.5.4 round join",
        ),
        pytest.param(
            ANGLE.format(more='stroke-miterlimit="2.2"'),
            mitred_area("bevel"),
            id="SVG 2, 13.5.4 over the mitre limit (1/sin 26.57 deg = 2.236)",
        ),
    ],
)
def test_strokes_have_their_closed_form(drawn, body, area):
    body = body.replace("<path", '<path style="fill:none"')
    shapes = [region.shape for region in drawn(body)]
    (shape,) = shapes
    assert shape.area * 1e4 == pytest.approx(area, abs=1e4 * area_tolerance(shape.length))


SQUARE = '<rect id="s" x="0" y="0" width="10" height="10"/>'


@pytest.mark.parametrize(
    ("body", "box"),
    [  # where a square of 10 lands, in user units: left, top, right, bottom
        pytest.param(
            '<defs>{s}</defs><use href="#s" x="20" y="30"/>',
            (20, 30, 30, 40),
            id="SVG 2, 5.5 use, plain href",
        ),
        pytest.param(
            '<defs>{s}</defs><use xlink:href="#s" transform="translate(5) scale(2)" x="1"/>',
            (7, 0, 27, 20),
            id="SVG 2, 5.5 use, xlink:href, transform before x",
        ),
        pytest.param(
            '<g transform="translate(50 50) rotate(90)">{s}</g>',
            (40, 50, 50, 60),
            id="SVG 2, 8.5 transform list",
        ),
        pytest.param(
            '<g transform="matrix(1 0 0 2 10 20)"><g transform="scale(.5)">{s}</g></g>',
            (10, 20, 15, 30),
            id="SVG 2, 8.5 nested transforms",
        ),
        pytest.param(
            '<svg x="10" y="20" width="40" height="40" viewBox="0 0 20 20">{s}</svg>',
            (10, 20, 30, 40),
            id="SVG 2, 8.2 nested svg",
        ),
        pytest.param(
            '<svg x="10" width="40" height="20" viewBox="0 0 10 10">{s}</svg>',
            (20, 0, 40, 20),
            id="SVG 2, 8.6 xMidYMid meet",
        ),
        pytest.param(
            '<svg width="40" height="20" viewBox="0 0 10 10" preserveAspectRatio="none">{s}</svg>',
            (0, 0, 40, 20),
            id="SVG 2, 8.6 none",
        ),
        pytest.param(
            '<svg width="4" height="6">{s}</svg>', (0, 0, 4, 6), id="SVG 2, 8.2 cut at its frame"
        ),
        pytest.param(
            '<defs><symbol id="y" viewBox="0 0 20 20">{s}</symbol></defs>'
            '<use href="#y" x="10" y="10" width="40" height="40"/>',
            (10, 10, 30, 30),
            id="SVG 2, 5.4 symbol",
        ),
        pytest.param(
            '<clipPath id="k"><rect x="2" y="3" width="4" height="50"/></clipPath>'
            '<g clip-path="url(#k)">{s}</g>',
            (2, 3, 6, 10),
            id="CSS Masking 1, 5.1",
        ),
        pytest.param(
            '<clipPath id="k" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>'
            '<rect x="20" y="20" width="20" height="10" clip-path="url(#k)"/>',
            (20, 20, 30, 30),
            id="CSS Masking 1, 6.1 objectBoundingBox",
        ),
        pytest.param(
            '<switch><rect systemLanguage="xx" width="90" height="90"/>{s}</switch>',
            (0, 0, 10, 10),
            id="SVG 2, 5.8 switch",
        ),
        pytest.param(
            '{s}<g display="none"><rect width="50" height="50"/></g>',
            (0, 0, 10, 10),
            id="SVG 2, 11.2 display",
        ),
        pytest.param(
            '{s}<rect width="50" height="50" visibility="hidden"/>',
            (0, 0, 10, 10),
            id="SVG 2, 11.3 visibility",
        ),
        pytest.param(
            "<style>.no { fill: none } #yes{fill:black}</style>{s}"
            '<rect class="a no" width="50" height="50"/>',
            (0, 0, 10, 10),
            id="SVG 2, 6.5 style sheet",
        ),
        pytest.param(
            "<style>rect { fill: none !important }</style>"
            '<rect style="fill: black" width="50" height="50"/><path d="M0 0h10v10h-10z"/>',
            (0, 0, 10, 10),
            id="CSS Cascade 4, 6.1: important beats a style attribute",
        ),
        pytest.param(
            "<style>/* g { } */ .no.a { fill: none } rect { fill: black; }</style>{s}"
            '<rect class="a no" width="50" height="50" style="fill:none;font-family:\'a;fill:black\'"/>'
            '<rect class="no a" width="50" height="50"/>',
            (0, 0, 10, 10),
            id="CSS Syntax 3, 4.3.5: a string keeps its semicolons",
        ),
        pytest.param(
            '<g style="fill:none" fill="black">{s}<rect style="fill: black" width="5" height="5"/></g>',
            (0, 0, 5, 5),
            id="SVG 2, 6.6 style beats attribute and is inherited",
        ),
    ],
)
def test_square_lands_where_the_specification_puts_it(drawn, body, box):
    left, top, right, bottom = box
    shape = one(drawn(body.replace("{s}", SQUARE)))
    expected = (left / 100 - 0.5, 0.5 - bottom / 100, right / 100 - 0.5, 0.5 - top / 100)
    assert shape.bounds == pytest.approx(expected, abs=2e-8)  # Clipper's grid
    assert shape.area == pytest.approx((right - left) * (bottom - top) / 1e4, abs=1e-7)


@pytest.mark.parametrize(
    ("frame", "bounds"),
    [
        pytest.param('viewBox="0 0 20 20"', (-0.5, 0.0, 0.0, 0.5), id="viewBox alone"),
        pytest.param(
            'viewBox="0 0 20 20" width="30mm" height="30mm"',
            (-0.5, 0.0, 0.0, 0.5),
            id="millimetres",
        ),
        pytest.param(
            'viewBox="0 0 20 20" width="1em" height="1em"', (-0.5, 0.0, 0.0, 0.5), id="font units"
        ),
        pytest.param('width="20" height="20"', (-0.5, 0.0, 0.0, 0.5), id="no viewBox"),
        pytest.param(
            'width="40px" height="20px"', (-0.5, 0.0, -0.25, 0.25), id="wide: larger side is 1"
        ),
        pytest.param('viewBox="-10 -10 40 40"', (-0.25, 0.0, 0.0, 0.25), id="offset"),
    ],
)
def test_drawing_fills_the_unit_square(drawn, frame, bounds):
    # a square of 10 units from the drawing's origin to the right and down: SVG's y points down
    assert one(drawn(SQUARE, frame)).bounds == pytest.approx(bounds, abs=2e-8)


@pytest.mark.parametrize(
    ("body", "shares"),
    [
        pytest.param(
            '<rect width="10" height="10" fill="gray"/>',
            {0.498: 100},
            id="CSS Color 4: gray is 128",
        ),
        pytest.param(
            '<rect width="10" height="10" fill="#000" opacity=".4"/>', {0.4: 100}, id="opacity"
        ),
        pytest.param(
            '<g opacity=".5"><rect width="10" height="10" fill-opacity="50%"/></g>',
            {0.25: 100},
            id="opacities multiply",
        ),
        pytest.param(
            '<rect width="10" height="10" fill="red"/>',
            {0.701: 100},
            id="ITU-R BT.601: red is 0.299 bright",
        ),
        pytest.param(
            '<g color="#808080"><rect width="10" height="10" fill="currentColor"/></g>',
            {0.498: 100},
            id="SVG 2, 13.2 currentColor",
        ),
        pytest.param(
            '<rect width="10" height="10"/><rect width="4" height="4" fill="white"/>',
            {1.0: 84},
            id="white erases",
        ),
        pytest.param(
            '<rect width="4" height="4" fill="white"/><rect width="10" height="10"/>',
            {1.0: 100},
            id="what comes later wins",
        ),
        pytest.param(
            '<rect width="10" height="10"/><rect width="4" height="4" fill="#999"/>',
            {1.0: 84, 0.4: 16},
            id="two depths",
        ),
        pytest.param(
            '<rect width="10" height="10"/><rect width="10" height="10"/>',
            {1.0: 100},
            id="twice the same",
        ),
        pytest.param(
            '<rect width="5" height="10"/><rect x="5" width="5" height="10"/>',
            {1.0: 100},
            id="a shared edge",
        ),
        pytest.param(
            '<rect width="5" height="5"/><rect x="5" y="5" width="5" height="5"/>',
            {1.0: 50},
            id="a shared corner",
        ),
        pytest.param(
            '<path d="M0 0H10V10H0Z M2 2H8L5 10Z" fill-rule="evenodd"/>',
            {1.0: 76},
            id="hole touching its edge",
        ),
    ],
)
def test_darkness_is_the_share_of_the_depth(drawn, body, shares):
    found = drawn(body)
    assert {
        region.depth_share: pytest.approx(region.shape.area * 1e4, abs=1e-2) for region in found
    } == shares
    for index, region in enumerate(found):
        assert region.shape.is_valid
        assert all(region.shape.intersection(other.shape).area == 0 for other in found[index + 1 :])


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ("<text>lantern</text>", "holds text; turn it into paths"),
        ('<image href="x.png"/>', "embeds a picture"),
        ("<foreignObject/>", "foreign object"),
        (
            '<rect width="9" height="9" fill="url(#g)"/>',
            "gradient or a pattern; give it one plain colour",
        ),
        ('<rect width="9" height="9" filter="url(#f)"/>', "uses a filter"),
        ('<rect width="9" height="9" mask="url(#f)"/>', "uses a mask"),
        ('<path d="M0 0h9v9" marker-end="url(#f)"/>', "uses markers"),
        ('<use href="other.svg#s"/>', "must point into the same file"),
        ('<use href="#missing"/>', "must name an element"),
        ('<g id="a"><use href="#a"/></g>', "uses itself"),
        ('<rect width="9" height="9" fill="blak"/>', "must be a colour"),
        ('<rect width="nine" height="9"/>', "must be a length"),
        ('<rect width="inf" height="9"/>', "must be a length"),
        ('<path d="M0 0L1e999 0"/>', "must be a number below"),
        ('<rect width="1e300" height="9"/>', "must not reach farther than"),
        ('<rect width="9" height="9" transform="scale(1e200)"/>', "must not reach farther than"),
        ('<circle r="1e200"/>', "must not reach farther than"),
        ('<path d="M0 0C1e308 1e308 -1e308 1e308 5 5z"/>', "must not reach farther than"),
        ('<rect width="9" height="9" transform="turn(3)"/>', "must be a list such as rotate"),
        ('<path d="M0 0h9" stroke="black" stroke-width="-1"/>', "must not be negative"),
        (
            '<path d="M0 0h90" stroke="black" stroke-dasharray=".00001"/>',
            "dashes; make them longer",
        ),
        ("<style>@import url(x.css);</style>", "plain rules only"),
        ("<style>g > rect {fill: red}</style>", "must be a name, a class or an id"),
        ("", "draws nothing that is darker than white"),
        ('<rect width="9" height="9" fill="white"/>', "draws nothing that is darker than white"),
        ("<g>", "is not XML"),
    ],
)
def test_what_cannot_become_relief_is_refused_in_one_sentence(drawn, body, says):
    with pytest.raises(FileError, match=r"drawing\.svg: ") as caught:
        drawn(body)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


TINY_FRAME = (
    b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1e-308 1e-308">'
    b'<path d="M0 0h5v5z"/></svg>'
)


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (
            b'<!DOCTYPE svg [<!ENTITY a "b">]><svg xmlns="http://www.w3.org/2000/svg">&a;</svg>',
            "declares entities",
        ),
        (
            '<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/passwd">]><svg/>'.encode("utf-16"),
            "declares entities",
        ),
        (b"\x1f\x8b\x08\x00", "is compressed"),
        (b"<html/>", "is XML but not SVG"),
        (b"", "is not XML"),
        (b'<svg xmlns="http://www.w3.org/2000/svg"/>', "viewBox = None: must be given"),
        (b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 0 9"/>', "four numbers"),
        (b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 nan 9"/>', "four numbers"),
        (TINY_FRAME, "must not reach farther than"),
        (b'<svg xmlns="http://www.w3.org/2000/svg">' + b" " * 10_000_000, "larger than 10 MB"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_is_no_drawing_is_refused(tmp_path, raw, says):
    path = tmp_path / "drawing.svg"
    path.write_bytes(raw)
    with pytest.raises(FileError, match=says):
        svg_regions(path)


def test_too_many_points_are_refused(drawn):
    # A cubic over the whole drawing asks for about a hundred chords.
    arches = "M0 0C0 90 90 90 90 0z" * 5_000
    with pytest.raises(FileError, match="at most 400000 points"):
        drawn(f'<path d="{arches}"/>')


def test_too_many_outlines_are_refused_before_they_are_taken_apart():
    square = np.array([[0.0, 0.0], [0.5, 0.0], [0.5, 0.5], [0.0, 0.5]])
    many = fill_nonzero([square + np.array([n % 150, n // 150]) for n in range(22_500)])
    with pytest.raises(KernelError, match="more than 20000 outlines"):
        multipolygon(many, "the drawing")


def scribble(count):
    return np.random.default_rng(7).uniform(0.0, 100.0, (count, 2))


def test_crossings_are_those_that_another_library_finds():
    ring = scribble(30)
    edges = shapely.linestrings(np.stack([ring, np.roll(ring, -1, axis=0)], axis=1))
    crossed, _ = shapely.STRtree(edges).query(edges, predicate="crosses")  # each pair twice
    assert crossing_count([ring]) == len(crossed) / 2


@pytest.mark.parametrize("paint", ["", 'fill="none" stroke="black" stroke-width="0.3"'])
def test_scribbled_lines_are_refused_before_they_are_cut(drawn, paint):
    path = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in scribble(3_000))
    with pytest.raises(FileError, match=r"at most 400000 points, crossings counted"):
        drawn(f'<path d="{path}" {paint}/>')


def test_copies_of_copies_are_refused_before_they_are_drawn(drawn):
    groups = ['<g id="g0"><rect width="1" height="1"/></g>']
    for number in range(1, 10):
        copies = f'<use href="#g{number - 1}"/>' * 10
        groups.append(f'<g id="g{number}">{copies}</g>')
    with pytest.raises(FileError, match=r"at most 10000 can be drawn, so draw or copy less"):
        drawn(f'<defs>{"".join(groups)}</defs><use href="#g9"/>')


def winding(points, ring):
    """How often a closed ring turns around points: the sum of the signed crossings of a ray."""
    x, y = points[:, :1], points[:, 1:]
    (ax, ay), (bx, by) = ring.T, np.roll(ring, -1, axis=0).T
    side = (bx - ax) * (y - ay) - (x - ax) * (by - ay)
    up, down = (ay <= y) & (by > y) & (side > 0), (ay > y) & (by <= y) & (side < 0)
    return (up.astype(int) - down).sum(axis=1)


@settings(max_examples=60)
@given(
    points=st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=24),
    rule=st.sampled_from(["nonzero", "evenodd"]),
)
def test_any_crossing_touching_or_doubled_path_fills_by_its_rule(tmp_path_factory, points, rule):
    # W. R. Franklin's and D. Sunday's ray crossings, at points off every line of the grid's paths
    ring = np.array(points, dtype=float)
    draws = " ".join(f"{x},{y}" for x, y in points)
    path = tmp_path_factory.mktemp("random") / "drawing.svg"
    known = '<rect x="14" y="14" width="2" height="2"/>'
    body = f'{known}<polygon fill-rule="{rule}" points="{draws}"/>'
    path.write_text(HEAD.format(frame='viewBox="0 0 16 16"') + body + "</svg>", encoding="utf-8")
    shape = one(svg_regions(path))
    grid = np.random.default_rng(4).uniform(0, 13, (400, 2))
    near = shapely.distance(shapely.points(grid), shapely.linearrings(ring)) < 1e-6
    probes = grid[~near]
    turns = winding(probes, ring)
    expected = turns != 0 if rule == "nonzero" else turns % 2 == 1
    x, y = probes.T / 16
    assert (shapely.contains_xy(shape, x - 0.5, 0.5 - y) == expected).all()


def test_pixels_agree_with_an_independent_renderer(tmp_path):
    # resvg (Rust) renders the same drawing: clip, use, dashes, transforms and three depths at once
    body = (
        '<clipPath id="k"><circle cx="50" cy="50" r="44"/></clipPath><g clip-path="url(#k)">'
        '<path id="p" d="M10 50C30 0 60 90 90 40S70 110 20 70z" fill="#555" fill-rule="evenodd"/>'
        '<use href="#p" transform="rotate(70 50 50)" style="fill:none;stroke:#000;stroke-width:5;'
        'stroke-dasharray:9 6 2;stroke-linejoin:round"/>'
        '<ellipse cx="60" cy="40" rx="20" ry="9" transform="skewX(20)" fill="#aaa" stroke="white"/></g>'
    )
    text = HEAD.format(frame=FRAME) + body + "</svg>"
    path = tmp_path / "drawing.svg"
    path.write_text(text, encoding="utf-8")
    png = resvg_py.svg_to_bytes(svg_string=text, width=800, background="white")
    grey = np.asarray(Image.open(BytesIO(bytes(png))).convert("L"), dtype=float)
    middle = (np.arange(800) + 0.5) / 800 - 0.5
    x, y = np.meshgrid(middle, -middle)
    share = np.zeros_like(x)
    for region in svg_regions(path):
        share[shapely.contains_xy(region.shape, x, y)] = region.depth_share
    # the same but for pixels beside an edge, which the renderer blends
    differs = np.abs(share - (1.0 - grey / 255.0)) > 1.5 / 255.0
    edges = np.zeros_like(differs)
    for step in product((-1, 0, 1), repeat=2):
        edges |= np.roll(share, step, axis=(0, 1)) != share
    assert not (differs & ~edges).any()
