"""What the pressed piece has to prove."""

from moulddesign.check import volume_finding
from moulddesign.check.crust import centre_findings, crust_findings
from moulddesign.check.printing import layers_finding
from moulddesign.finding import Finding
from moulddesign.proving.evidence import Evidence
from moulddesign.reading import relief_findings


def piece_findings(made: Evidence) -> tuple[Finding, ...]:
    """Judge the pastry: volume, crust, centres, and whether its relief reads right.

    Parameters
    ----------
    made : Evidence
        What was made.
    """
    solid, outline = made.meshes[made.pastry_name], made.pastry.outline
    centres = made.design.portion.centres
    return (
        volume_finding(
            name="pastry: volume",
            measured_mm3=solid.volume_mm3,
            target_mm3=made.target_mm3,
            source="the portion: masses over densities",
        ),
        *crust_findings(thickness_mm=made.crust_mm, deepest_sunk_mm=made.pastry.deepest_sunk_mm),
        *centre_findings(
            diameters_mm=[centre.diameter_mm for centre in centres for _ in range(centre.count)],
            crust_mm=made.crust_mm,
            width_mm=min(outline.width_mm, outline.depth_mm),
            height_mm=made.pastry.height_mm,
        ),
        *relief_findings(made.pastry, solid, line_mm=made.design.printer.line_width_mm),
    )


def relief_layers(made: Evidence) -> tuple[Finding, ...]:
    """Judge whether the layers draw the shallowest of the relief.

    Parameters
    ----------
    made : Evidence
        What was made.
    """
    depths = [abs(part.depth_mm) for part in made.pastry.relief]
    if not depths:
        return ()
    layer_mm = made.design.printer.layer_height_mm
    return (layers_finding(depth_mm=min(depths), layer_mm=layer_mm),)
