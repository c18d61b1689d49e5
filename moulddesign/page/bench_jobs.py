"""Jobs beside the design's own: a mould that exists, a trial bake, a batch."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

from moulddesign.design import Design
from moulddesign.design.shelf import Shelf
from moulddesign.errors import SpecError
from moulddesign.fit import fit, pressings, ranked
from moulddesign.page.asks import OnHandAsk, OwnedAsk, ShelfAsk, TrialAsk
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


def fitted(listen: Any, plain: Plain, *asked: Plain) -> Told:  # noqa: ANN401 (a callable)
    """Tell which weights fit a mould that exists, and the plot of a press mould's window.

    Parameters
    ----------
    listen : callable
        Asked before each stage whether to go on.
    plain : mapping
        The design.
    *asked : mapping
        An `OwnedAsk`, and what the plot says, as `plot.Wording` names it.
    """
    from moulddesign.fit.plot import Wording, window_svg  # noqa: PLC0415 (matplotlib)

    design, given, wording = Design.of(plain), OwnedAsk.of(asked[0]), Wording(**asked[1])
    made = fit(design, given.mould, ratios=given.more_ratios, stage=lambda _: listen())
    window = made.window(design)
    pressed = pressings(window, raw_g=given.pressed_g, heights_mm=given.pressed_mm)
    plot = b""
    if window is not None:
        sd_g = made.row(design).raw_g_sd
        pieces = [each.piece for each in pressed]
        plot = window_svg(made.mould.name, window, sd_g=sd_g, pieces=pieces, wording=wording)
    yield "fit", (made.report(design) | {"pressed": [each.report() for each in pressed]}, plot)


def shelved(listen: Any, plain: Plain, asked: Plain) -> Told:  # noqa: ANN401 (a callable)
    """Tell which of several moulds take the portion.

    Parameters
    ----------
    listen : callable
        Asked before each mould whether to go on.
    plain, asked : mapping
        The design, and a `ShelfAsk`.
    """
    given = ShelfAsk.of(asked)
    if given.moulds is None:
        raise SpecError("moulds", "not given", "must be given; upload a file of moulds")
    moulds = Shelf.read(given.moulds).mould
    found = ranked(Design.of(plain), moulds, lambda _: listen())
    yield "shelf", [each.report() for each in found]


def tried(_listen: Any, plain: Plain, asked: Plain) -> Told:  # noqa: ANN401 (a callable)
    """Tell what a trial bake taught, and the weights that follow.

    Parameters
    ----------
    plain, asked : mapping
        The design, and a `TrialAsk`.
    """
    design, given = Design.of(plain), TrialAsk.of(asked)
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
    design, given = Design.of(plain), OnHandAsk.of(asked)
    recipe = None if design.batch.recipe is None else Recipe.read(design.batch.recipe)
    yield "batch", batch(design, recipe, OnHand(**given.model_dump()))


def _mould(design: Design) -> PressedIn:
    """Return the mould that the design builds, for heights that were measured."""
    volume_ml = portion(design.portion).volume_ml
    made = pastry(design, volume_ml)
    return PressedIn(volume_ml=volume_ml, height_mm=made.height_mm, area_mm2=made.outline.area_mm2)
