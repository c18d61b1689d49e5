"""What the 3D view is sent: bodies as raw numbers, behind a short head in JSON."""

import json
import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from moulddesign.building import PASTRY, Build, Shape
from moulddesign.design import Design
from moulddesign.export.colour import colour_of
from moulddesign.mesh import Mesh, joined
from moulddesign.mould import MouldSet, Part
from moulddesign.page.inside import centre_balls, filled_space

FILLING: Final = "filling"
CENTRE: Final = "centre"

INSIDE_COLOURS: Final = {FILLING: "#7a4b2a", CENTRE: "#e9c46a"}
APART_SHARE: Final = 0.45
"""Air between parts that are laid apart, as a share of the pastry's width."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """One body of the view.

    Parameters
    ----------
    name : str
        Its name, and its key among the page's texts.
    role : str
        `pastry`, `part`, `filling` or `centre`.
    mesh : Mesh
        As it stands in the assembly [mm].
    colour : str
        As CSS writes it.
    lift_mm : float
        How far it rises when all parts are laid apart [mm].
    """

    name: str
    role: str
    mesh: Mesh
    colour: str
    lift_mm: float = 0.0


def pastry_bodies(design: Design, shape: Shape) -> tuple[Body, ...]:
    """Return the pastry, its filling and its centres."""
    made = [Body(name=PASTRY, role=PASTRY, mesh=shape.pastry.mesh, colour=_css(PASTRY, 0))]
    space = filled_space(shape.pastry, shape.crust_mm)
    sizes_mm = [c.diameter_mm for c in design.portion.centres for _ in range(c.count)]
    balls = centre_balls(shape.pastry, sizes_mm)
    for name, mesh in ((FILLING, space), (CENTRE, joined(balls) if balls else None)):
        if mesh is not None:
            made.append(Body(name=name, role=name, mesh=mesh, colour=INSIDE_COLOURS[name]))
    return tuple(made)


def part_bodies(mould: MouldSet[Any], made: Shape | Build) -> tuple[Body, ...]:
    """Return a mould's parts; laid apart, each rises clear of the one before it.

    Parameters
    ----------
    mould : MouldSet
        The parts.
    made : Shape or Build
        What holds the pastry that they press.
    """
    pastry = made.pastry.mesh
    width_mm = float(pastry.size_mm[:2].max())
    gap_mm = APART_SHARE * width_mm
    top_mm = float(pastry.bounds[1, 2])
    bodies = []
    for number, part in enumerate(mould.assembled):
        low, high = part.mesh.bounds[:, 2].tolist()
        lift_mm = max(top_mm + gap_mm - low, 0.0)
        top_mm = high + lift_mm
        bodies.append(_part(part, part.mesh, number, lift_mm=lift_mm))
    return (*bodies, *_beside(mould, gap_mm=gap_mm))


def _beside(mould: MouldSet[Any], *, gap_mm: float) -> Iterator[Body]:
    """Yield the parts that take another's place, on the table beside the assembly."""
    right_mm = max(float(part.mesh.bounds[1, 0]) for part in mould.assembled)
    further = [part for part in mould.parts if part.is_further]
    for number, part in enumerate(further, start=len(mould.assembled)):
        low, high = part.mesh.bounds
        by_mm = (right_mm + gap_mm - low[0], 0.0, -low[2])
        right_mm += gap_mm + float(high[0] - low[0])
        yield _part(part, part.mesh.moved(by_mm), number)


def _part(part: Part, mesh: Mesh, number: int, *, lift_mm: float = 0.0) -> Body:
    colour = _css(part.name, number)
    return Body(name=part.name, role="part", mesh=mesh, colour=colour, lift_mm=lift_mm)


def sent(stage: str, bodies: Iterable[Body]) -> bytes:
    """Return bodies as the view reads them.

    Parameters
    ----------
    stage : str
        What is complete: `pastry` or `mould`.
    bodies : iterable of Body
        What is drawn.

    Returns
    -------
    bytes
        Length of the head (uint32), the head in JSON, then for each body its corners (float32)
        and its triangles (uint32), all little-endian.
    """
    bodies = tuple(bodies)
    head = {
        "stage": stage,
        "bodies": [
            {
                "name": body.name,
                "role": body.role,
                "colour": body.colour,
                "lift": body.lift_mm,
                "points": len(body.mesh.vertices),
                "facets": len(body.mesh.triangles),
            }
            for body in bodies
        ],
    }
    text = json.dumps(head).encode()
    text += b" " * (-len(text) % 4)
    arrays = [
        part
        for body in bodies
        for part in (body.mesh.vertices.astype("<f4"), body.mesh.triangles.astype("<u4"))
    ]
    return struct.pack("<I", len(text)) + text + b"".join(a.tobytes() for a in arrays)


def _css(name: str, number: int) -> str:
    return "#" + "".join(f"{round(255 * share):02x}" for share in colour_of(name, number))
