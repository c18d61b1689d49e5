"""Whether a relief reads: it matches its artwork, prints, fills, and reaches its depth."""

from collections.abc import Iterator

from moulddesign.check.legibility import reading_finding
from moulddesign.check.strokes import full_depth_finding, least_widths_mm, width_finding
from moulddesign.design import Profile, Sense
from moulddesign.finding import Finding
from moulddesign.mesh import Mesh
from moulddesign.pastry.legibility import least_gap_mm, least_stroke_mm
from moulddesign.pastry.pastry import Pastry


def relief_findings(pastry: Pastry, solid: Mesh, *, line_mm: float) -> tuple[Finding, ...]:
    """Return what is found of a pastry's relief.

    Parameters
    ----------
    pastry : Pastry
        Its artwork says what was asked for.
    solid : Mesh
        The pastry as it is written [mm].
    line_mm : float
        Width of one printed line [mm].
    """
    return (
        *(
            reading_finding(solid, artwork=shape, flat_mm=pastry.height_mm, depth_mm=depth)
            for shape, depth in pastry.artwork
        ),
        *_widths(pastry, line_mm),
        *(
            full_depth_finding(
                solid,
                flat_mm=pastry.height_mm,
                depth_mm=part.depth_mm,
                artwork_mm2=part.shape.area,
            )
            for part in pastry.relief
            if part.profile is Profile.FLAT
        ),
    )


def _widths(pastry: Pastry, line_mm: float) -> Iterator[Finding]:
    """Yield whether strokes and gaps can be printed and filled."""
    for shape, depth_mm in pastry.artwork:
        sense = Sense.RAISED if depth_mm > 0.0 else Sense.SUNK
        limits = least_widths_mm(line_mm=line_mm, raised=sense is Sense.RAISED)
        for what, search, limit_mm in zip(
            ("stroke", "gap"), (least_stroke_mm, least_gap_mm), limits, strict=True
        ):
            thin = search(shape, below_mm=limit_mm)
            place = None if thin is None else (thin.width_mm, thin.x_mm, thin.y_mm)
            name = f"thinnest {what} of the {sense} relief"
            yield width_finding(name=name, thinnest=place, limit_mm=limit_mm)
