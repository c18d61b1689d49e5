"""Jobs beside the design's own: a mould that exists, a trial bake, a batch."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

from moulddesign.design import Design
from moulddesign.design.shelf import OwnedMould
from moulddesign.fit import fit
from moulddesign.page.asks import OnHandAsk, TrialAsk
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import (
    OnHand,
    PressedIn,
    Recipe,
    Weighing,
    batch,
    figures,
    portion,
    trial,
)

Told = Iterator[tuple[str, Any]]
Plain = Mapping[str, Any]


def fitted(listen: Any, plain: Plain, asked: Plain) -> Told:  # noqa: ANN401 (a callable)
    """Tell which weights fit a mould that exists, and the plot of a press mould's window.

    Parameters
    ----------
    listen : callable
        Asked before each stage whether to go on.
    plain, asked : mapping
        The design, and the mould's table.
    """
    from moulddesign.fit.plot import window_svg  # noqa: PLC0415 (matplotlib)

    design, mould = Design.of(plain), OwnedMould.of(asked)
    made = fit(design, mould, stage=lambda _: listen())
    window = made.window(design)
    plot = b""
    if window is not None:
        sd_g = made.row(design).raw_g_sd
        plot = window_svg(made.mould.name, window, sd_g=sd_g, pieces=())
    yield "fit", (made.report(design), plot)


def tried(_listen: Any, plain: Plain, asked: Plain) -> Told:  # noqa: ANN401 (a callable)
    """Tell what a trial bake taught, and the weights that follow.

    Parameters
    ----------
    plain, asked : mapping
        The design, and a `TrialAsk`.
    """
    design, given = Design.of(plain), TrialAsk.model_validate(asked)
    weighings = [Weighing(**piece.model_dump()) for piece in given.weighings]
    measured = any(piece.height_mm is not None for piece in weighings)
    found = trial(design, weighings, _mould(design) if measured else None)
    designs = {"before": design, "same_mould": found.same_mould, "new_mould": found.corrected}
    yield (
        "trial",
        {
            "loss": asdict(found.loss),
            "density": None if found.density_g_per_ml is None else asdict(found.density_g_per_ml),
            "weights": {name: figures(each) for name, each in designs.items()},
            "designs": {name: each.plain() for name, each in designs.items()},
        },
    )


def batched(_listen: Any, plain: Plain, asked: Plain) -> Told:  # noqa: ANN401 (a callable)
    """Tell the totals of a batch.

    Parameters
    ----------
    plain, asked : mapping
        The design, and an `OnHandAsk`.
    """
    design, given = Design.of(plain), OnHandAsk.model_validate(asked)
    recipe = None if design.batch.recipe is None else Recipe.read(design.batch.recipe)
    yield "batch", batch(design, recipe, OnHand(**given.model_dump()))


def _mould(design: Design) -> PressedIn:
    """Return the mould that the design builds, for heights that were measured."""
    volume_ml = portion(design.portion).volume_ml
    made = pastry(design, volume_ml)
    return PressedIn(volume_ml=volume_ml, height_mm=made.height_mm, area_mm2=made.outline.area_mm2)
