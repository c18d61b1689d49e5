"""The bench card of a mould that exists: the piece that fits it, without anything to print."""

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

from PIL import Image

from moulddesign.artwork.patterns import read_picture, scaled_down
from moulddesign.core import BENCH_CAUTIONS, CAUTIONS, Message, ml_from_mm3, say, word
from moulddesign.design import Design, Kind, OwnTable, Paper
from moulddesign.export.card import Card
from moulddesign.export.card_html import CARD_HTML, card_html
from moulddesign.export.card_piece import COMPUTED, WORDS, piece_figures
from moulddesign.export.fonts import fonts_of, with_word_breaks
from moulddesign.fit import ABOUT_CRUST, Fit, FittingPiece, MeasuredCavity
from moulddesign.fit.cavities import Bore, SizedShape
from moulddesign.kitchen import Recipe
from moulddesign.portion import Figures, cautions_of, figures

MOVES_OF_OWNED: Final = {
    Kind.PRESS: (say("export.card-owned-press"),),
    Kind.BLOCK: (say("export.card-owned-block"),),
}
"""What is done with a mould that exists, one after the other."""


PHOTO_PX: Final = 1200
"""Longest side of the owner's photo on the card [px]."""


def owned_card(design: Design, made: Fit | None, recipe: Recipe | None, paper: Paper) -> Card:
    """Return the bench card of the piece that fits a mould, with the owner's photo of it.

    Parameters
    ----------
    design : Design
        As `fitted_design` returns it.
    made : Fit or None
        None where nothing of the mould was measured: the card says its weights alone.
    recipe : Recipe or None
        Its ingredients tell the allergens, where one is known.
    """
    shown = _figures(design, made, recipe)
    name = None if design.own_mould is None else design.own_mould.picture
    pictures = {} if name is None else {"pastry.png": _photo_png(Path(name))}
    return Card(figures=shown, pictures=pictures, paper=paper, fonts=fonts_of(design))


def _photo_png(path: Path) -> bytes:
    def read(photo: Image.Image) -> bytes:
        target = io.BytesIO()
        scaled_down(photo.convert("RGB"), PHOTO_PX).save(target, format="PNG")
        return target.getvalue()

    return read_picture(path, ("PNG", "JPEG"), read, say("export.no-photo"))


def owned_files(
    design: Design, made: Fit | None, recipe: Recipe | None, paper: Paper
) -> dict[str, bytes]:
    """Return the bench card, on paper, for a screen and as pictures, by the names of its files."""
    card = owned_card(design, made, recipe, paper)
    pages = {f"card-{number}.png": page for number, page in enumerate(card.pngs(), start=1)}
    return {"card.pdf": card.pdf(), CARD_HTML: card_html(card)} | pages


def _figures(design: Design, made: Fit | None, recipe: Recipe | None) -> dict[str, Any]:
    mould = design.own_mould
    assert mould is not None  # noqa: S101 (who asks for this card has one)
    if made is None:
        kind = Kind.PRESS if mould.is_press else Kind.BLOCK
        piece = piece_figures(
            design, figures(design), recipe, None, beside=(), mould=with_word_breaks(mould.name)
        )
        return piece | _of_any(mould, kind) | {
            "remarks": [say("fit.never-measured")],
            "cautions": list(_cautions(design, is_printed=False)),
        }  # fmt: skip
    return _measured_figures(design, mould, made, recipe)


def _of_any(mould: OwnTable, kind: Kind) -> dict[str, Any]:
    """Return what a card says of a mould whether or not it was measured."""
    marked = () if mould.marks is None else (say("export.card-kept-for", marks=mould.marks),)
    return {
        "failed": [],
        "inlays": marked,
        "others": [],
        "is_owned": True,
        "has_photo": mould.picture is not None,
        "moves": list(MOVES_OF_OWNED[kind]),
        "use": MOVES_OF_OWNED[kind],
        "words": WORDS | {"pastry_shown": say("export.card-photo")},
    }


def _cautions(design: Design, *, is_printed: bool) -> tuple[Message | str, ...]:
    # Wood and metal need no cautions about plastic; a mesh may be that of a print.
    first = CAUTIONS if is_printed else BENCH_CAUTIONS
    return (say("fit.caution-mould"), *first, *cautions_of(design.portion))


def _measured_figures(
    design: Design, mould: OwnTable, made: Fit, recipe: Recipe | None
) -> dict[str, Any]:
    weights = figures(design)
    cavity, row = made.filled(design)
    kind = Kind.BLOCK if made.own_window(design) is None else Kind.PRESS
    piece = piece_figures(
        design, weights, recipe, None if cavity.shape is None else cavity.shape.width_mm,
        beside=tuple(_beside_the_weights(made, weights, kind, row)),
        mould=with_word_breaks(made.mould.name),
    )  # fmt: skip
    cautions = _cautions(design, is_printed=made.mould.mesh is not None)
    every = dict.fromkeys((*made.notes, *made.cavities[0][0].remarks, *row.remarks))
    remarks = [said for said in every if weights.is_filled or said.id not in ABOUT_CRUST]
    return piece | _of_any(mould, kind) | {
        "shapes": [*piece["shapes"], *_filled(made, design, cavity, row)],
        "remarks": remarks,
        "cautions": list(cautions),
        "sources": [*piece["sources"], *_sources(made, cavity, row)],
    }  # fmt: skip


def _beside_the_weights(
    made: Fit, weights: Figures, kind: Kind, row: FittingPiece
) -> Iterator[Message]:
    """Yield what rounding does to the height, where the mouth is known, and how sure that is."""
    cavity = made.cavities[0][0]
    mouth = cavity.bore or (cavity.shape if isinstance(cavity.shape, SizedShape) else None)
    area_mm2 = None
    if mouth is not None:
        area_mm2 = mouth.area_mm2 if isinstance(mouth, Bore) else mouth.outline.area_mm2
    rounding = None if area_mm2 is None else weights.rounding(kind, area_mm2)
    if rounding is not None:
        yield rounding
    if kind is Kind.BLOCK:
        yield say("export.card-full-with", raw_g=_grams_of(row), doubt_g=2.0 * row.raw_g_sd)


def _filled(
    made: Fit, design: Design, cavity: MeasuredCavity, row: FittingPiece
) -> Iterator[list[Message | str]]:
    """Yield the sizes of the piece in the mould, as far as they are known."""
    window = made.own_window(design)
    if window is not None:
        height_mm = window.height_of_mm(figures(design).piece)
        yield [say("export.card-height"), f"{height_mm:.1f} mm"]
        yield [
            say("export.card-press-takes"),
            say("export.card-from-to", least_mm=window.least_mm, most_mm=window.most_mm),
        ]
    else:
        yield [say("export.card-mould-holds"), _volume(cavity)]
    known = row.crust_thickness_mm
    if design.portion.is_filled:
        unknown = say("export.card-shape-unknown")
        yield [say("export.card-crust"), unknown if known is None else f"{known:.1f} mm"]


def _grams_of(row: FittingPiece) -> float:
    assert row.piece is not None  # noqa: S101 (a fitted design has one)
    return row.piece.raw_g


def _volume(cavity: MeasuredCavity) -> str:
    doubt_ml = 2.0 * ml_from_mm3(cavity.volume_sd_mm3)
    return f"{ml_from_mm3(cavity.volume_mm3):.1f} +- {doubt_ml:.1f} mL"


def _sources(made: Fit, cavity: MeasuredCavity, row: FittingPiece) -> Iterator[list[Message | str]]:
    """Yield how the mould was measured, and how well that tells its weight."""
    mould = made.mould
    if mould.mesh is not None:
        how = say("export.card-by-mesh")
    elif mould.volume_ml is not None:
        how = say("export.card-as-given")
    elif mould.water_g:
        count = len(mould.water_g)
        how = say("export.card-by-weighings", count=count)
        if count == 1:
            how = say("export.card-by-weighing", count=count)
    else:
        how = say("export.card-by-sizes", tool=word(mould.tool.value))
    if cavity.uncertainties:
        of_volume = say("export.card-twice-uncertainty", how=how)
        yield [say("export.card-of-mould"), _volume(cavity), of_volume]
    for cause in row.uncertainties:
        yield [
            say("export.card-uncertainty-by", cause=word(cause.name)),
            say("export.card-raw-share", raw_g=cause.raw_g),
            say("export.card-uncertainty"),
        ]
    if row.crust_thickness_mm is not None:
        yield [say("export.card-of-crust"), f"{row.crust_thickness_mm:.2f} mm", COMPUTED]
