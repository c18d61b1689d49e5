"""Whether the plunger's rings, which show the first stamp's heights, serve another stamp too."""

from moulddesign.check.assembly import face_mm
from moulddesign.finding import Finding, Verdict, judged
from moulddesign.mesh import Mesh


def ring_finding(stamp: Mesh, *, first: Mesh, band_mm: float) -> Finding:
    """Return how much higher a stamp stands than the first when its pastry has its volume.

    The rings tell light, nominal and heavy portions under the first stamp. A stamp whose nominal
    height lies beyond the outer rings is better told by the scale.

    Parameters
    ----------
    stamp, first : Mesh
        Each at its nominal height, face down [mm].
    band_mm : float
        From the middle ring to its neighbours [mm].
    """
    higher_mm = face_mm(stamp) - face_mm(first)
    return Finding(
        name="nominal height over the middle ring",
        measured=higher_mm,
        limit=f"within {band_mm:.2f} either way: between the rings of light and heavy pieces",
        unit="mm",
        source="the design: the rings show the first stamp's heights",
        verdict=judged(good=abs(higher_mm) <= band_mm, otherwise=Verdict.WARN),
    )
