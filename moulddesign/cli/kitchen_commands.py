"""`trial`, `firmness`, `syrup`.

A trial bake's figures and the corrected design; how firm a dough is; a pot of syrup.
"""

from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from moulddesign.cli.console import Overwrite, ends_at_once, err, out, print_json, save_text, table
from moulddesign.cli.options import PIECE, AsJson, Override, with_design
from moulddesign.design import Design
from moulddesign.kitchen import (
    Estimate,
    Trial,
    read_weighings,
    trial,
    typed_weighings,
)
from moulddesign.kitchen.firmness import LEAST_KPA, MOST_KPA, UNCERTAINTY_RATIO, yield_stress
from moulddesign.kitchen.samples import FEWEST_TO_SPREAD
from moulddesign.kitchen.syrup import SyrupPot, pot_solids, syrup, syrup_sentences
from moulddesign.portion import TrialMould, figures

TRIAL_OWN = (
    *(override for override in PIECE if override.flag != "--height"),
    Override("--scale-step", "scale.resolution_g", float, "G", "Smallest step of the scale."),
)


class Keep(StrEnum):
    """What the design that is written keeps."""

    WEIGHT = "weight"
    MOULD = "mould"


@with_design(*TRIAL_OWN, bare=Design)
def run_trial(
    design: Design,
    *,
    raw: Annotated[
        list[float] | None, typer.Option(metavar="G", help="A piece before baking; repeatable.")
    ] = None,
    finished: Annotated[
        list[float] | None, typer.Option(metavar="G", help="The same piece when eaten.")
    ] = None,
    height: Annotated[
        list[float] | None,
        typer.Option(metavar="MM", help="Its height to the flat top, read under the stamp."),
    ] = None,
    released: Annotated[
        list[float] | None, typer.Option(metavar="MM", help="The same when it lies free.")
    ] = None,
    weighings: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE.csv", help="The same as CSV: raw_g, finished_g, height_mm, released_mm."
        ),
    ] = None,
    keep: Annotated[
        Keep, typer.Option(help="The design that is written keeps the mould, or its weight.")
    ] = Keep.MOULD,
    save_as: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help="Write the corrected design.")
    ] = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Loss and density from pieces weighed before and after, and the weights that follow.

    Example: moulddesign trial cakes.toml --raw 77 --finished 74 --raw 76 --finished 73.5
    """
    pieces = typed_weighings(raw or (), finished or (), height or (), released or ())
    if weighings is not None:
        pieces += read_weighings(weighings)
    measured = any(piece.height_mm is not None for piece in pieces)
    found = trial(design, pieces, _mould(design) if measured else None)
    written = found.corrected if keep is Keep.WEIGHT else found.same_mould
    if save_as is not None:
        save_text(save_as, written.toml(), overwrite=overwrite)
        err().print(f"Written to {save_as}", soft_wrap=True)
    if as_json:
        print_json(plain_trial(design, found))
    else:
        _print_trial(design, found)


def _mould(design: Design) -> TrialMould:
    """Return the mould that the design builds; only a measured height needs its geometry."""
    with ends_at_once():
        from moulddesign.pastry.pastry import trial_mould  # noqa: PLC0415 (loads geometry)

    return trial_mould(design)


def plain_trial(design: Design, found: Trial) -> dict[str, Any]:
    """Return the trial as JSON holds it."""
    designs = {"before": design, "same_mould": found.same_mould, "new_mould": found.corrected}
    weights = {
        name: {"portion": asdict(made.piece), "split": asdict(made.split)}
        for name, made in ((name, figures(each)) for name, each in designs.items())
    }
    return {
        "loss": asdict(found.loss),
        "density_g_per_ml": _plain_estimate(found.density_g_per_ml),
        "springback_mm": _plain_estimate(found.springback_mm),
        "pressed_mm": found.pressed_mm,
        "corrected": found.corrected.plain(),
        "same_mould": found.same_mould.plain(),
        "weights": weights,
    }


def _plain_estimate(found: Estimate | None) -> dict[str, Any] | None:
    return None if found is None else asdict(found)


def _print_trial(design: Design, found: Trial) -> None:
    console = out()
    estimates = (
        ("loss", found.loss, 4),
        ("density g/mL", found.density_g_per_ml, 4),
        ("springback mm", found.springback_mm, 2),
    )
    rows = [(name, *_estimate(each, digits)) for name, each, digits in estimates if each]
    console.print(
        table("What the trial says", ("", "mean", "95 % of means", "sd of a piece"), rows)
    )
    for name, each, _ in estimates:
        if each is not None and each.outliers:
            numbers = ", ".join(map(str, each.outliers))
            console.print(
                f"Piece {numbers} stands apart in {name}: weigh again or look for the reason. "
                "It is in the mean all the same."
            )
    if found.pressed_mm is not None:
        console.print(
            f"The same weight in the same mould: press it to {found.pressed_mm:.1f} mm where the "
            "mould leaves room for that; else take the new weights for the same mould. A new mould "
            "comes last."
        )
    designs = (
        ("as it was", design),
        ("the same mould", found.same_mould),
        ("a new mould", found.corrected),
    )
    weights = [_weights(name, each) for name, each in designs]
    paste = "paste with centres g" if figures(design).together else "paste g"
    heads = ("weights for", "crust g", paste, "raw g", "finished g", "mL")
    console.print(table(f"{design.name}: one piece", heads, weights))


def _estimate(found: Estimate, digits: int) -> tuple[str, str, str]:
    """Return a mean, its interval and the spread of pieces, which one or two cannot show."""
    own = f"{found.sd:.{digits}f}" if found.count >= FEWEST_TO_SPREAD else "too few"
    interval = f"{found.low:.{digits}f} to {found.high:.{digits}f}"
    return f"{found.value:.{digits}f}", interval, own


def _weights(name: str, design: Design) -> tuple[object, ...]:
    made = figures(design)
    split, piece = made.split, made.piece
    return (name, split.crust_g, made.weighed_g, split.raw_g, piece.finished_g, piece.volume_ml)


def run_firmness(
    *,
    dough_ml: Annotated[
        float, typer.Option(metavar="ML", help="Volume of the ball: its mass over its density.")
    ],
    load: Annotated[
        float, typer.Option(metavar="G", help="What rests on it, with the upper plate.")
    ],
    height: Annotated[float, typer.Option(metavar="MM", help="Its height after 60 s of load.")],
    as_json: AsJson = False,
) -> None:
    """Yield stress of a dough, from a ball pressed flat between two rough plates.

    Face two flat plates with baking paper or fine abrasive, lay a ball of the dough between them,
    set a weight on it for 60 s, and read the height of the dough while the weight still rests.

    Example: moulddesign firmness --dough-ml 20 --load 1000 --height 7
    """
    found = yield_stress(dough_ml=dough_ml, load_g=load, height_mm=height)
    if as_json:
        least, most = found.least_kpa, found.most_kpa
        print_json({"yield_kpa": found.kpa, "least_kpa": least, "most_kpa": most})
        return
    out().print(
        f"Yield stress: {found.kpa:.2f} kPa, {found.least_kpa:.2f} to {found.most_kpa:.2f} "
        f"(give or take {100 * UNCERTAINTY_RATIO:.0f} %)."
    )
    out().print(
        f"For the design: --crust-yield {found.kpa:.2f}, or crust_yield_kpa = {found.kpa:.2f} in "
        "[portion]. `make` then says what force presses the piece and fills its relief.",
        markup=False,
    )
    out().print(f"Doughs that nobody tested are taken as {LEAST_KPA:g} to {MOST_KPA:g} kPa.")


def run_syrup(
    *,
    sugar: Annotated[float, typer.Option(metavar="G", help="Sugar that goes into the pot.")],
    solids: Annotated[
        float,
        typer.Option(
            metavar="X", help="Share of the syrup that is not water when it is done: 0.78, 78 %."
        ),
    ],
    inverted: Annotated[
        float | None,
        typer.Option(
            metavar="X",
            help="Share of the sugar that acid has split, 0 to 1; with acid and without this any.",
        ),
    ] = None,
    acid: Annotated[
        float,
        typer.Option(
            metavar="G", help="Dry acid, such as citric; of lemon juice about 8 g in 100 g."
        ),
    ] = 0.0,
    altitude: Annotated[
        float, typer.Option(metavar="M", help="Height of the kitchen above the sea, m.")
    ] = 0.0,
    boiling: Annotated[
        float | None,
        typer.Option(
            metavar="C", help="Where water boils there by this thermometer, deg C: better."
        ),
    ] = None,
    pot: Annotated[
        float | None,
        typer.Option(metavar="G", help="What is in the pot now, without the pot: its solids."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Net weight and thermometer reading of a pot of syrup when it is done.

    Weigh the empty pot first: the balance tells the solids to 1.5 points, the thermometer to 3.

    Example: moulddesign syrup --sugar 500 --solids 0.78 --inverted 0.75 --altitude 600
    """
    found = syrup(
        SyrupPot(
            sugar_g=sugar, solids=solids, inverted=inverted, acid_g=acid, altitude_m=altitude,
            boiling_c=boiling,
        )
    )  # fmt: skip
    sentences = tuple(syrup_sentences(found, pot))
    if not as_json:
        for sentence in sentences:
            out().print(str(sentence), markup=False)
        return
    plain = {key: value for key, value in asdict(found).items() if key != "pot"}
    if pot is not None:
        solids, *limits = pot_solids(found.pot, pot)
        plain |= {"pot_solids": solids, "pot_solids_range": limits}
    print_json(plain | {"remarks": sentences})
