"""Views of a drawing: a section with its dimensions, and the plan below it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from moulddesign.export.cut import edges_behind, edges_from_above, hatching, upright_section
from moulddesign.export.dimension import STEP_MM, across, number, upright
from moulddesign.export.features import SAME_MM, Width, levels, widths
from moulddesign.export.ink import Align, Circle, Ink, Layer, Lettering, Stroke, box_of
from moulddesign.mesh import Mesh, Points

TITLE_MM: Final = 3.5
"""Height of a view's title [mm]."""

HATCH_MM: Final = 2.5
"""Between hatching lines on the paper [mm]."""

AXIS_MM: Final = 2.5
"""How far an axis runs beyond its view [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile:
    """What a drawing shows of a part, in true size.

    Parameters
    ----------
    name : str
        The part's name.
    cut : shapely geometry
        Its section through the middle: x to the right, z up [mm].
    behind, plan : tuple of ndarray, shape (n_i, 2)
        Edges seen behind the section, and from above [mm].
    widths : tuple of Width
        Its main widths.
    levels : tuple of float
        Its main heights [mm].
    """

    name: str
    cut: shapely.Geometry
    behind: tuple[Points, ...]
    plan: tuple[Points, ...]
    widths: tuple[Width, ...]
    levels: tuple[float, ...]

    def scaled_cut(self, scale: float) -> shapely.Geometry:
        """Return the section on the paper."""
        return shapely.affinity.scale(self.cut, scale, scale, origin=(0.0, 0.0))


def profile(mesh: Mesh, name: str) -> Profile:
    """Return what a drawing shows of a part.

    Parameters
    ----------
    mesh : Mesh
        As it stands in the assembly [mm].
    name : str
        Its name.

    Raises
    ------
    KernelError
        It cannot be cut.
    """
    step = f"the section of the {name}"
    cut = upright_section(mesh, step)
    return Profile(
        name=name,
        cut=cut,
        behind=edges_behind(mesh, step),
        plan=edges_from_above(mesh),
        widths=widths(mesh, cut, step),
        levels=levels(cut),
    )


def part_view(part: Profile, *, scale: float, turn: int) -> tuple[Ink, ...]:
    """Return a part's section through its middle, with its main dimensions.

    Parameters
    ----------
    part : Profile
        The part.
    scale : float
        Length on the paper over true length.
    turn : int
        Place in the set: neighbours are hatched to other sides.
    """
    drawn = part.scaled_cut(scale)
    x0, y0, x1, y1 = drawn.bounds
    inks: list[Ink] = [*shape_inks(drawn, Layer.OUTLINE), *hatched(drawn, turn)]
    inks += [line(scale * edge, Layer.EDGE) for edge in part.behind]
    inks += axis(0.0, y0, y1)
    inks += _width_dimensions(part, scale=scale, floor=y0)
    for row, level in enumerate(part.levels, start=1):
        ends = ((x1, y0), (x1, y0 + scale * level))
        inks.append(upright(ends, x1 + STEP_MM * row, number(level)))
    inks.append(heading(part.name, (x0 + x1) / 2.0, y1 + AXIS_MM + 1.5))
    return tuple(inks)


def _width_dimensions(part: Profile, *, scale: float, floor: float) -> list[Ink]:
    """Return the dimensions of a part's widths, the smallest nearest below the view."""
    halves = [scale * width.half_mm for width in part.widths]
    inks: list[Ink] = []
    for row, width in enumerate(part.widths, start=1):
        half, at = scale * width.half_mm, scale * width.at_mm
        crossed = [other for other in halves if other > half]
        text = width.sign + number(2.0 * width.half_mm)
        ends = ((-half, min(at, floor)), (half, min(at, floor)))
        inks.append(across(ends, floor - STEP_MM * row, text, crossed=crossed))
    return inks


def part_plan(part: Profile, *, scale: float) -> tuple[Ink, ...]:
    """Return a part seen from above: its sharp edges, and sizes that its section does not have."""
    lines = [line(scale * edge, Layer.OUTLINE) for edge in part.plan]
    x0, y0, x1, y1 = box_of(lines)
    inks: list[Ink] = [*lines, *axis(0.0, y0, y1), *level_axis(x0, x1, 0.0)]
    wide, deep = (x1 - x0) / scale, (y1 - y0) / scale
    left, _, right, _ = part.cut.bounds
    if abs(wide - (right - left)) > SAME_MM:
        inks.append(across(((x0, y0), (x1, y0)), y0 - STEP_MM, number(wide)))
    if abs(deep - wide) > SAME_MM:
        inks.append(upright(((x1, y0), (x1, y1)), x1 + STEP_MM, number(deep)))
    return tuple(inks)


def heading(text: str, x: float, y: float) -> Lettering:
    """Return a view's title, centred over a point [mm]."""
    return Lettering(text=text, at=(x, y), capital_mm=TITLE_MM, align=Align.MIDDLE)


def line(points: Points, layer: Layer, *, closed: bool = False) -> Stroke:
    """Return points, shape (n, 2), as a line on a layer [mm]."""
    return Stroke(points=tuple(map(tuple, points.tolist())), layer=layer, closed=closed)


def shape_inks(shape: shapely.Geometry, layer: Layer) -> list[Ink]:
    """Return the rings of a shape as closed lines on a layer."""
    thinned = shapely.simplify(shape, 0.005)  # a hundredth of a line's width
    rings = [ring for part in shapely.get_parts(thinned) for ring in shapely.get_rings(part)]
    return [line(shapely.get_coordinates(ring)[:-1], layer, closed=True) for ring in rings]


def hatched(shape: shapely.Geometry, turn: int, spacing_mm: float = HATCH_MM) -> list[Ink]:
    """Return the hatching of a section: 45 deg to the right or left by turns."""
    angle = (45.0, 135.0)[turn % 2]
    spacing = spacing_mm * (1.0, 1.0, 0.7, 0.7)[turn % 4]
    return [
        line(ends, Layer.HATCH) for ends in hatching(shape, angle_deg=angle, spacing_mm=spacing)
    ]


def axis(x: float, low: float, high: float) -> list[Ink]:
    """Return an upright centre line that runs a little beyond a view [mm]."""
    ends = np.array([[x, low - AXIS_MM], [x, high + AXIS_MM]])
    return [line(ends, Layer.AXIS)]


def level_axis(left: float, right: float, y: float) -> list[Ink]:
    """Return a level centre line that runs a little beyond a view [mm]."""
    ends = np.array([[left - AXIS_MM, y], [right + AXIS_MM, y]])
    return [line(ends, Layer.AXIS)]


def outline_inks(points: Points, name: str, scale: float) -> list[Ink]:
    """Return an outline seen from above: a true circle where it is one."""
    if name == "round":
        radius = scale * float(np.linalg.norm(points[0]))
        return [Circle(middle=(0.0, 0.0), radius_mm=radius, layer=Layer.OUTLINE)]
    return [line(scale * points, Layer.OUTLINE, closed=True)]


def lowered(inks: Sequence[Ink], by_mm: float) -> tuple[Ink, ...]:
    """Return entities moved down [mm]."""
    return tuple(ink.moved(0.0, -by_mm) for ink in inks)
