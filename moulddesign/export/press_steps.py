"""How a press is used, step by step, each with a small picture: sections of its own parts."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely.affinity import translate

from moulddesign.building import Build
from moulddesign.core import Message, say
from moulddesign.export.views import PartProfile
from moulddesign.mould import PressLayout
from moulddesign.mould.press_layout import LIP_MM, OFF_MM

DOUGH: Final = "dough"
COLOURS: Final = {
    "sleeve": "#9fb4c7",
    "stamp": "#d9a25f",
    "plunger": "#7f93a8",
    "stop": "#c96a5b",
    DOUGH: "#ecd9ae",
}
"""Fill of each body; edges are drawn in ink."""

INK: Final = "#333333"
EDGE_MM: Final = 0.5
"""Width of the edges, in true size [mm]."""
SIMPLE_MM: Final = 0.05
"""Details smaller than this are left out [mm]."""
ASIDE_MM: Final = 14.0
"""How far apart parts are drawn that are taken apart [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PressStep:
    """One step of the work."""

    name: Message
    says: Message
    picture: bytes
    """SVG file."""


def press_steps(
    build: Build, parts: Sequence[PartProfile], pastry: shapely.Geometry
) -> list[PressStep]:
    """Return the steps from a clean press to a clean press; none where the mould is no press."""
    layout = build.mould.layout
    cuts = {part.name: shapely.simplify(part.section, SIMPLE_MM) for part in parts}
    if not isinstance(layout, PressLayout) or not cuts.keys() >= COLOURS.keys() - {DOUGH}:
        return []
    scenes = list(_scenes(layout, cuts, pastry))
    # All in one scale: a picture is as wide as its scene.
    high = max(_bounds(bodies)[3] for _, _, bodies in scenes)
    return [
        PressStep(name=name, says=says, picture=_svg(bodies, high)) for name, says, bodies in scenes
    ]


Body = tuple[str, shapely.Geometry]
"""Name of the body, for its colour, and its section where it is drawn [mm]."""


def _scenes(
    layout: PressLayout, cuts: dict[str, shapely.Geometry], pastry: shapely.Geometry
) -> Iterator[tuple[Message, Message, list[Body]]]:
    """Yield name, sentence and bodies of each step."""

    def at(name: str, x: float = 0.0, z: float = 0.0) -> Body:
        return name, translate(cuts[name], x, z)

    joint = layout.joint
    wide, down = layout.wide_mm, -layout.height_mm
    apart = joint.half_length_mm + wide / 2.0 + ASIDE_MM
    yield (
        say("export.step-join"),
        say("export.step-join-how"),
        [at("stamp", 0.0, down), at("plunger", wide / 2.0, down + joint.lift_mm / 2.0)],
    )
    ball = shapely.box(*pastry.bounds).buffer(-wide / 6.0).buffer(wide / 6.0)
    yield (
        say("export.step-load"),
        say("export.step-load-how"),
        [at("sleeve"), (DOUGH, ball), at("stop")],
    )
    yield (
        say("export.step-press"),
        say("export.step-press-how"),
        [at("sleeve"), (DOUGH, pastry), at("stamp"), at("plunger"), at("stop")],
    )
    off = LIP_MM + OFF_MM
    yield (
        say("export.step-stop-off"),
        say("export.step-stop-off-how", off_mm=off),
        [
            at("sleeve"), (DOUGH, pastry), at("stamp"), at("plunger", 0.0, off),
            at("stop", wide / 2.0 + ASIDE_MM),
        ],
    )  # fmt: skip
    up = layout.stroke_mm - LIP_MM
    yield (
        say("export.step-push-out"),
        say("export.step-push-out-how"),
        [at("sleeve", 0.0, up), (DOUGH, pastry), at("stamp"), at("plunger")],
    )
    yield (
        say("export.step-swap"),
        say("export.step-swap-how", wide_mm=2.0 * joint.mouth_mm, deep_mm=joint.depth_mm),
        [at("stamp", 0.0, down), at("plunger", apart, down + joint.lift_mm / 2.0)],
    )


def _bounds(bodies: Sequence[Body]) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = shapely.total_bounds([shape for _, shape in bodies]).tolist()
    return x0, y0, x1, y1


def _svg(bodies: Sequence[Body], high_mm: float) -> bytes:
    """Return a picture of bodies on the table, as high as the highest of all steps [mm]."""
    x0, low, x1, _ = _bounds(bodies)
    x0, x1, low = x0 - EDGE_MM, x1 + EDGE_MM, min(low, 0.0) - 2.0 * EDGE_MM
    width, height = x1 - x0, high_mm - low + EDGE_MM
    paths = [
        f'<path d="{_path(shape)}" fill="{COLOURS[name]}" fill-rule="evenodd" stroke="{INK}" '
        f'stroke-width="{EDGE_MM}"/>'
        for name, shape in bodies
    ]
    table = f'<path d="M{x0:.2f} 0H{x1:.2f}" stroke="{INK}" stroke-width="{2.0 * EDGE_MM}"/>'
    # y of the picture runs down.
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.2f}mm" height="{height:.2f}mm" '
        f'viewBox="{x0:.2f} {-high_mm - EDGE_MM:.2f} {width:.2f} {height:.2f}">'
        f"{table}{''.join(paths)}</svg>"
    ).encode("ascii")


def _path(shape: shapely.Geometry) -> str:
    rings = shapely.get_rings(shapely.get_parts(shape))
    lines = [
        "L".join(f"{x:.2f} {-y:.2f}" for x, y in shapely.get_coordinates(ring).tolist())
        for ring in rings
    ]
    return "".join(f"M{line}Z" for line in lines)
