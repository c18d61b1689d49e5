"""`moulddesign fit`: the weights that fit a mould that one owns already."""

import functools
import inspect
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from moulddesign.cli.console import bar_over, ends_at_once, err, print_json
from moulddesign.cli.options import PIECE, AsJson, Override, with_design
from moulddesign.cli.saving import Overwrite, save_bytes
from moulddesign.design import Design
from moulddesign.design.pastry import refuse_idle
from moulddesign.design.shelf import OwnedMould, Shelf, Tool
from moulddesign.errors import SpecError
from moulddesign.units import Unit

if TYPE_CHECKING:
    from moulddesign.fit import Fit, Pressing

WEIGHED: Final = (
    "--weight", "--loss", "--crust-density", "--filling-density", "--centre-mass",
    "--centre-density",
)  # fmt: skip
PORTION: Final = (
    *(override for override in PIECE if override.flag in WEIGHED),
    Override("--scale-step", "scale.resolution_g", float, "G", "Smallest step of the scale."),
)
"""Options for the portion, which set fields of the Design."""

OWNED: Final = (
    Override("--name", "name", str, "NAME", "What the mould is called."),
    Override("--outline", "outline", str, "NAME|FILE", "Mouth: round, square, ... or an SVG."),
    Override("--width", "width_mm", float, "MM", "Inner width of the mouth, across the flats."),
    Override("--height", "height_mm", float, "MM", "Inside, from the table to the flat top."),
    Override("--corner-radius", "corner_radius_mm", float, "MM", "Inner radius of corners."),
    Override("--lobes", "lobes", int, "N", "Lobes of a scalloped mouth."),
    Override("--lobe-depth", "lobe_depth_mm", float, "MM", "Depth of the valleys between them."),
    Override("--shoulder", "shoulder_radius_mm", float, "MM", "Radius of the rounded top edge."),
    Override("--side-draft", "draft_deg", float, "DEG", "Lean of the side; the mouth is widest."),
    Override("--relief-depth", "relief_depth_mm", float, "MM", "Depth of the relief."),
    Override("--relief-cover", "relief_cover", float, "X", "Share of the flat top it covers."),
    Override("--sense", "sense", str, "raised|sunk", "Which way the relief stands on the piece."),
    Override("--tool", "tool", Tool, "ruler|caliper", "What the sizes were read off."),
    Override("--water", "water_g", list[float], "G", "Water that fills it; repeatable."),
    Override("--empty", "empty_g", float, "G", "The empty mould, where it was not zeroed."),
    Override("--at", "at_c", float, "C", "Temperature of the water, deg C."),
    Override("--mesh", "mesh", str, "FILE", "Its mesh: .stl, .3mf, .obj or .ply."),
    Override("--stamp", "stamp", str, "FILE", "Stamp of the press whose sleeve is --mesh."),
    Override("--unit", "unit", Unit, "mm|inch|cm|m", "Unit of the meshes."),
    Override("--up", "up", str, "+z", "Way up when filled: +x -x +y -y +z -z."),
    Override("--mend", "mend", bool, "", "Mend broken meshes, and tell what was done."),
    Override("--least-height", "least_height_mm", float, "MM", "Lowest that the press presses."),
    Override("--most-height", "most_height_mm", float, "MM", "Highest that the press presses."),
    Override("--bore-length", "bore_length_mm", float, "MM", "Length of a press mould's bore."),
    Override("--guide", "guide_mm", float, "MM", "Length of the stamp that stays in the bore."),
)
"""Options for the mould, which set fields of an OwnedMould."""

STAGES: Final = (
    "reading", "mending", "checking", "basins", "cavities", "crust", "weights",
)  # fmt: skip
"""What `fit` tells of itself, in order."""


def with_mould(verb: Callable[..., Any]) -> Callable[..., Any]:
    """Give a verb the options for the mould; it is called with the design and what was given."""
    own = list(inspect.signature(verb, eval_str=True).parameters.values())

    @functools.wraps(verb)
    def run(design: Design, **values: Any) -> Any:  # noqa: ANN401 (any verb)
        asked = {o.field: values.pop(o.parameter.name) for o in OWNED}
        given = {field: value for field, value in asked.items() if value not in (None, [])}
        return verb(design, given, **values)

    run.__signature__ = inspect.Signature(  # type: ignore[attr-defined]
        [own[0], *(o.parameter for o in OWNED), *own[2:]]
    )
    return run


@with_design(*PORTION)
@with_mould
def show(
    design: Design,
    given: Mapping[str, Any],
    *,
    context: typer.Context,
    ratio: Annotated[
        list[str] | None, typer.Option(metavar="C:F", help="Ratio to add; repeatable.")
    ] = None,
    pressed_weight: Annotated[
        list[float] | None, typer.Option(metavar="G", help="Raw weight -> height; repeatable.")
    ] = None,
    pressed_height: Annotated[
        list[float] | None, typer.Option(metavar="MM", help="Height -> weight; repeatable.")
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Plot of a press's height over weight: .svg or .png."),
    ] = None,
    shelf: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Moulds (TOML) to rank for the portion.")
    ] = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Weights that fit a mould that exists: by its sizes, by water, or by its mesh.

    Example: moulddesign fit --outline square --width 50 --height 25 --corner-radius 6

    Example: moulddesign fit --water 61.5 --water 62 --at 20

    Example: moulddesign fit --mesh mould.stl --unit inch --up=-z

    Example: moulddesign fit --shelf moulds.toml --weight 75 --ratio 3:7
    """
    design = _of_no_demo(design, context.params)
    if ratio:
        design = design.with_values({"portion.ratio": ratio[0]})
    if shelf is not None:
        _refuse_beside_shelf({**given, "plot": plot, "pressed": pressed_weight or pressed_height})
        _rank(design, shelf, as_json=as_json)
        return
    mould = OwnedMould.of(given)
    refuse_idle(mould.outline, given)
    asked = (tuple(pressed_weight or ()), tuple(pressed_height or ()))
    made, pressings = _fitted(design, mould, ratio or (), asked)
    if plot is not None:
        _plot(design, made, pressings, plot, overwrite=overwrite)
    _print(design, made, pressings, as_json=as_json)


def _of_no_demo(design: Design, asked: Mapping[str, Any]) -> Design:
    """Return the design without the demo's centre, where neither file nor option named one."""
    named = any(asked.get(key) is not None for key in ("design_file", "centre_mass"))
    if named or asked.get("centre_density") is not None:
        return design
    return design.with_values({"portion.centres": []})


def _refuse_beside_shelf(given: Mapping[str, Any]) -> None:
    for field, value in given.items():
        if value is not None:
            raise SpecError(field, str(value), "must be left out beside --shelf, whose file names "
                            "the moulds")  # fmt: skip


def _rank(design: Design, shelf: Path, *, as_json: bool) -> None:
    with ends_at_once():
        from moulddesign.cli.fit_tables import print_ranked  # noqa: PLC0415 (no geometry for others)
        from moulddesign.fit import ranked  # noqa: PLC0415 (the same)

    moulds = Shelf.read(shelf).mould
    with bar_over([mould.name for mould in moulds]) as stage:
        found = ranked(design, moulds, stage)
    if as_json:
        print_json({"design": design.plain(), "ranked": [each.report() for each in found]})
    else:
        print_ranked(design, found)


def _fitted(
    design: Design,
    mould: OwnedMould,
    ratios: Sequence[str],
    asked: tuple[Sequence[float], Sequence[float]],
) -> tuple["Fit", tuple["Pressing", ...]]:
    with ends_at_once():
        from moulddesign.fit import fit, pressings  # noqa: PLC0415 (no geometry for other verbs)

    with bar_over(STAGES) as stage:
        made = fit(design, mould, ratios=ratios, stage=stage)
    weights_g, heights_mm = asked
    return made, pressings(made.window(design), raw_g=weights_g, heights_mm=heights_mm)


def _plot(
    design: Design, made: "Fit", pressed: Sequence["Pressing"], path: Path, *, overwrite: bool
) -> None:
    with ends_at_once():
        from moulddesign.fit import plot  # noqa: PLC0415 (matplotlib)

    window = made.window(design)
    if window is None:
        raise SpecError("plot", str(path), "needs a press mould: add --most-height")
    draw = {".svg": plot.window_svg, ".png": plot.window_png}.get(path.suffix.lower())
    if draw is None:
        raise SpecError("plot", str(path), "must end in .svg or .png")
    pieces = [p.piece for p in pressed]
    picture = draw(made.mould.name, window, sd_g=made.row(design).raw_g_sd, pieces=pieces)
    save_bytes(path, picture, overwrite=overwrite)
    err().print(f"Written to {path}", soft_wrap=True)


def _print(design: Design, made: "Fit", pressed: Sequence["Pressing"], *, as_json: bool) -> None:
    with ends_at_once():
        from moulddesign.cli.fit_tables import print_fit  # noqa: PLC0415 (no geometry for others)

    if as_json:
        print_json(made.report(design) | {"pressed": [p.report() for p in pressed]})
    else:
        print_fit(design, made, pressed)
