"""`trial`: what a trial bake says, and the corrected design; `oven`: when the middle is hot."""

from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Final

import typer

from moulddesign.cli.console import Overwrite, ends_at_once, err, out, print_json, save_text, table
from moulddesign.cli.dough_command import FIGURE_WORDS, keep_in_book
from moulddesign.cli.options import PIECE, AsJson, Override, with_design
from moulddesign.core import SpecError, require_between, say
from moulddesign.design import PROPORTION, Design, DoughFigure
from moulddesign.kitchen import Recipe
from moulddesign.kitchen.batch import is_baked
from moulddesign.kitchen.oven import (
    CORE_C,
    CORE_UNCERTAINTY,
    FILM_W_PER_M2K,
    START_C,
    CoreShape,
    core_time,
    heat_properties,
    inside_composition,
    sizes_without_relief,
)
from moulddesign.kitchen.pooling import measured_in, today
from moulddesign.kitchen.samples import FEWEST_TO_SPREAD, Estimate
from moulddesign.kitchen.trial import (
    WEIGHING_COLUMNS,
    Trial,
    read_weighings,
    trial,
    typed_weighings,
)
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
    baked_width: Annotated[
        list[float] | None, typer.Option(metavar="MM", help="Its width when eaten.")
    ] = None,
    baked_height: Annotated[
        list[float] | None,
        typer.Option(metavar="MM", help="Its height to the flat top when eaten."),
    ] = None,
    relief_left: Annotated[
        list[float] | None, typer.Option(metavar="MM", help="Depth of its relief when eaten.")
    ] = None,
    weighings: Annotated[
        Path | None,
        typer.Option(metavar="FILE.csv", help=f"The same as CSV: {', '.join(WEIGHING_COLUMNS)}."),
    ] = None,
    keep_as: Annotated[
        str | None,
        typer.Option(
            "--remember", metavar="NAME", help="Add it to this dough of the dough book (`doughs`)."
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
    """Loss, density and baked size from pieces weighed and measured, and the weights that follow.

    Example: moulddesign trial cakes.toml --raw 77 --finished 74 --raw 76 --finished 73.5
    """
    pieces = typed_weighings(
        raw or (),
        finished or (),
        height or (),
        released or (),
        baked_width_mm=baked_width or (),
        baked_height_mm=baked_height or (),
        relief_left_mm=relief_left or (),
    )
    if weighings is not None:
        pieces += read_weighings(weighings)
    measured = any(piece.needs_mould for piece in pieces)
    found = trial(design, pieces, _mould(design) if measured else None)
    written = found.corrected if keep is Keep.WEIGHT else found.same_mould
    if save_as is not None:
        save_text(save_as, written.toml(), overwrite=overwrite)
        err().print(f"Written to {save_as}", soft_wrap=True)
    if keep_as is not None:
        keep_in_book(keep_as, measured_in(found, today()), design)
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
        "width_ratio": _plain_estimate(found.width_ratio),
        "height_ratio": _plain_estimate(found.height_ratio),
        "relief_ratio": _plain_estimate(found.relief_ratio),
        "pressed_mm": found.pressed_mm,
        "remarks": [str(each) for each in found.remarks],
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
        (FIGURE_WORDS[DoughFigure.SPRINGBACK], found.springback_mm, 2),
        (FIGURE_WORDS[DoughFigure.WIDTH], found.width_ratio, 3),
        (FIGURE_WORDS[DoughFigure.HEIGHT], found.height_ratio, 3),
        (FIGURE_WORDS[DoughFigure.RELIEF], found.relief_ratio, 2),
    )
    rows = [(name, *_estimate(each, digits)) for name, each, digits in estimates if each]
    console.print(
        table("What the trial says", ("", "mean", "95 % of means", "sd of a piece"), rows)
    )
    for remark in found.remarks:
        console.print(str(remark), markup=False)
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


OVEN_OWN: Final = (
    *PIECE,
    Override("--oven", "bake_day.oven_c", float, "C", "Air of the oven."),
    Override(
        "--set-minutes", "bake_day.set_minutes", float, "MIN", "In the oven before the brushing."
    ),
    Override("--wash-minutes", "bake_day.wash_minutes", float, "MIN", "Out of it, being brushed."),
    Override("--finish-oven", "bake_day.finish_oven_c", float, "C", "Air of the oven after that."),
)


@with_design(*OVEN_OWN, bare=Design)
def run_oven(
    design: Design,
    *,
    start: Annotated[
        float,
        typer.Option("--from", metavar="C", help="Temperature of the piece at first, deg C."),
    ] = START_C,
    as_json: AsJson = False,
) -> None:
    """Minutes in the oven until the middle of a piece is hot; an estimate, so probe one piece.

    The time counts from when the piece first goes in, the time out of the oven included.

    Example: moulddesign oven cakes.toml --oven 200 --set-minutes 6 --wash-minutes 10
    """
    if not is_baked(design):
        raise SpecError("portion.finish", design.portion.finish.value, say("kitchen.not-baked"))
    least, most = COLDEST_START_C, HOTTEST_START_C
    need = say("kitchen.start-range", least=least, most=most)
    require_between("--from", start, least=least, most=most, need=need)
    area_mm2, height_mm = _sizes(design)
    outline = design.pastry.outline
    shape = CoreShape.of(area_mm2=area_mm2, height_mm=height_mm, is_square=outline == "square")
    recipe = None if design.batch.recipe is None else Recipe.read(design.batch.recipe)
    paste = heat_properties(inside_composition(design.portion, recipe))
    found = core_time(shape, paste, design.bake_day, start_c=start)
    if as_json:
        print_json(
            {
                "core_c": CORE_C,
                "minutes": [found.least_min, found.most_min],
                "uncertainty_ratio": CORE_UNCERTAINTY,
                "film_w_per_m2k": FILM_W_PER_M2K[::-1],
                "shape": asdict(shape),
                "paste": asdict(paste) | {"diffusivity_mm2_per_s": paste.diffusivity_mm2_per_s},
            }
        )
        return
    out().print(
        f"In an oven of {found.oven_c:g} °C the middle has {CORE_C:.0f} °C after {found}. "
        "Probe one piece."
    )
    out().print(
        f"By conduction into {design.portion.finished_weight_g:g} g, {height_mm:.0f} mm high, for "
        f"film coefficients of {FILM_W_PER_M2K[1]:g} to {FILM_W_PER_M2K[0]:g} W/m²K. An estimate; "
        "it says nothing of safety."
    )


COLDEST_START_C: Final = 0.0
HOTTEST_START_C: Final = 80.0
"""Of the piece that goes in: nothing freezes, and it is no hot one; our choice [deg C]."""


def _sizes(design: Design) -> tuple[float, float]:
    """Return area and height of the piece; only the area of a drawn outline needs its geometry."""
    size, made = design.pastry, figures(design)
    found = sizes_without_relief(
        volume_ml=made.piece.volume_ml,
        outline=size.outline,
        width_mm=size.width_mm,
        height_mm=size.height_mm,
        ratio=PROPORTION if size.height_to_width is None else size.height_to_width,
    )
    if found is not None:
        return found
    mould = _mould(design)
    return mould.area_mm2, mould.height_mm
