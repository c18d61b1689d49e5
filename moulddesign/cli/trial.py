"""`moulddesign trial`: figures from a trial bake, and the corrected design."""

from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from moulddesign.cli.console import ends_at_once, out, print_json, table
from moulddesign.cli.options import PIECE, AsJson, Override, with_design
from moulddesign.cli.saving import Overwrite, save_text
from moulddesign.design import Design
from moulddesign.portion import (
    Mean,
    PressedIn,
    Trial,
    figures,
    portion,
    read_weighings,
    trial,
    typed_weighings,
)

OWN = (
    *(override for override in PIECE if override.flag != "--height"),
    Override("--scale-step", "scale.resolution_g", float, "G", "Smallest step of the scale."),
)


class Keep(StrEnum):
    """What the design that is written keeps."""

    WEIGHT = "weight"
    MOULD = "mould"


@with_design(*OWN)
def show(
    design: Design,
    *,
    raw: Annotated[
        list[float] | None, typer.Option(metavar="G", help="A piece before baking; repeatable.")
    ] = None,
    finished: Annotated[
        list[float] | None, typer.Option(metavar="G", help="The same piece when eaten.")
    ] = None,
    height: Annotated[
        list[float] | None, typer.Option(metavar="MM", help="Its pressed height to the flat top.")
    ] = None,
    weighings: Annotated[
        Path | None,
        typer.Option(metavar="FILE.csv", help="The same as CSV: raw_g, finished_g, height_mm."),
    ] = None,
    keep: Annotated[
        Keep, typer.Option(help="The design that is written keeps its weight, or the mould.")
    ] = Keep.WEIGHT,
    save_as: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write the corrected design.")
    ] = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Loss and density from pieces weighed before and after, and the weights that follow.

    Example: moulddesign trial cakes.toml --raw 77 --finished 74 --raw 76 --finished 73.5
    """
    pieces = typed_weighings(raw or (), finished or (), height or ())
    if weighings is not None:
        pieces += read_weighings(weighings)
    measured = any(piece.height_mm is not None for piece in pieces)
    found = trial(design, pieces, _mould(design) if measured else None)
    written = found.corrected if keep is Keep.WEIGHT else found.same_mould
    if save_as is not None:
        save_text(save_as, written.toml(), overwrite=overwrite)
    if as_json:
        print_json(plain(design, found))
    else:
        _print(design, found)


def _mould(design: Design) -> PressedIn:
    """Return the mould that the design builds; only a measured height needs its geometry."""
    with ends_at_once():
        from moulddesign.pastry.pastry import pastry  # noqa: PLC0415 (loads the geometry libraries)

    volume_ml = portion(design.portion).volume_ml
    made = pastry(design, volume_ml)
    return PressedIn(volume_ml=volume_ml, height_mm=made.height_mm, area_mm2=made.outline.area_mm2)


def plain(design: Design, found: Trial) -> dict[str, Any]:
    """Return the trial as JSON holds it."""
    designs = {"before": design, "same_mould": found.same_mould, "new_mould": found.corrected}
    weights = {
        name: {"portion": asdict(made.piece), "split": asdict(made.split)}
        for name, made in ((name, figures(each)) for name, each in designs.items())
    }
    density = found.density_g_per_ml
    return {
        "loss": asdict(found.loss),
        "density_g_per_ml": None if density is None else asdict(density),
        "corrected": found.corrected.plain(),
        "same_mould": found.same_mould.plain(),
        "weights": weights,
    }


def _print(design: Design, found: Trial) -> None:
    console = out()
    rows = [("loss", *_mean(found.loss))]
    if found.density_g_per_ml is not None:
        rows.append(("density g/mL", *_mean(found.density_g_per_ml)))
    console.print(table("What the trial says", ("", "mean", "+- mean", "sd of a piece"), rows))
    for name, mean in (("loss", found.loss), ("density", found.density_g_per_ml)):
        if mean is not None and mean.outliers:
            numbers = ", ".join(map(str, mean.outliers))
            console.print(
                f"Piece {numbers} stands apart in {name}: weigh again or look for the reason. "
                "It is in the mean all the same."
            )
    designs = (
        ("as it was", design),
        ("the same mould", found.same_mould),
        ("a new mould", found.corrected),
    )
    weights = [_weights(name, each) for name, each in designs]
    heads = ("weights for", "crust g", "paste g", "raw g", "finished g", "mL")
    console.print(table(f"{design.name}: one piece", heads, weights))


def _mean(mean: Mean) -> tuple[str, str, str]:
    scatter = "one piece" if mean.sd is None else f"{mean.sd:.4f}"
    return f"{mean.value:.4f}", f"{mean.uncertainty:.4f}", scatter


def _weights(name: str, design: Design) -> tuple[object, ...]:
    made = figures(design)
    split, piece = made.split, made.piece
    return (name, split.crust_g, split.paste_g, split.raw_g, piece.finished_g, piece.volume_ml)
