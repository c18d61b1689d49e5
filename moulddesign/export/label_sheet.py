"""A sheet of labels for packs: as many as go on the paper, in letters that may be read."""

from typing import Any, Final

from moulddesign.core import SpecError, say
from moulddesign.design import Design, Paper
from moulddesign.export.card import Card
from moulddesign.export.fonts import fonts_of
from moulddesign.kitchen.food_label import (
    FoodLabel,
    contains_statement,
    list_runs,
    missing_figures,
    net_quantity,
    nutrition_heads,
    nutrition_rows,
)
from moulddesign.kitchen.ingredient_list import Law

X_HEIGHT_RATIO: Final = 1120 / 2048
"""Height of a small x over the size of the letters, of the bundled font."""
MM_PER_PT: Final = 25.4 / 72.0

LEAST_X_HEIGHT_MM: Final = {Law.EU: 1.2, Law.US: 1.6}
"""Regulation (EU) 1169/2011, Article 13; for the US a sixteenth of an inch, from memory."""
SMALL_PACK_X_HEIGHT_MM: Final = 0.9
"""The same, where the largest side of the pack is less than 80 cm2."""

LARGEST_PT: Final = 10.0
STEP_PT: Final = 0.25

MARGIN_MM: Final = 8.0
GAP_MM: Final = 2.0

SHEETS_MM: Final = {Paper.A4: (210.0, 297.0), Paper.LETTER: (215.9, 279.4)}


def label_sheet(
    design: Design,
    label: FoodLabel,
    size_mm: tuple[float, float],
    *,
    paper: Paper,
    x_height_mm: float | None = None,
) -> bytes:
    """Return a sheet full of one label, as a PDF file.

    Parameters
    ----------
    design : Design
        Its language, and fonts that print what the bundled one lacks.
    label : FoodLabel
        What each says.
    size_mm : tuple of float
        Width and height of a label [mm].
    paper : Paper
        Of the sheet.
    x_height_mm : float, optional
        Least height of a small x; the law's where it is left out [mm].

    Raises
    ------
    SpecError
        The label is larger than the paper, or too small for letters of that height, or there is
        no font for its language.
    KernelError
        The typesetter refuses.
    """
    language, fonts = design.sheet_language, fonts_of(design)
    if fonts.language != language:
        raise SpecError("--language", language, say("export.label-no-letters"))
    least = LEAST_X_HEIGHT_MM[label.law] if x_height_mm is None else x_height_mm
    least_pt = least / X_HEIGHT_RATIO / MM_PER_PT
    width_mm, height_mm = size_mm
    columns, rows = (
        int((whole - 2.0 * MARGIN_MM + GAP_MM) / (one + GAP_MM))
        for whole, one in zip(SHEETS_MM[paper], size_mm, strict=True)
    )
    shown_size = f"{width_mm:g}x{height_mm:g}"
    if columns < 1 or rows < 1:
        most = [whole - 2.0 * MARGIN_MM for whole in SHEETS_MM[paper]]
        need = say("export.label-larger-than-paper", width_mm=most[0], height_mm=most[1])
        raise SpecError("--size", shown_size, need)
    steps = int(max(LARGEST_PT - least_pt, 0.0) / STEP_PT)
    card = Card(
        figures={
            "title": label.title,
            "name": label.title,
            "program": "",
            "language": language,
            "label": _texts(label, language),
            "width_mm": width_mm,
            "height_mm": height_mm,
            "gap_mm": GAP_MM,
            "margin_mm": MARGIN_MM,
            "columns": columns,
            "rows": rows,
            "sizes_pt": [least_pt + STEP_PT * step for step in range(steps, -1, -1)],
        },
        pictures={},
        paper=paper,
        fonts=fonts,
        template="label.typ",
    )
    told = card.told("told")
    if not told["fits"]:
        need = say("export.label-too-small", height_mm=told["least_height_mm"], x_height_mm=least)
        raise SpecError("--size", shown_size, need)
    return card.pdf()


SIZES_MM: Final = ((96.0, 66.0), (96.0, 92.0), (96.0, 139.0), (194.0, 139.0), (194.0, 270.0))
"""Sizes of a label that nobody chose: so many fill the paper."""


def smallest_sheet(design: Design, label: FoodLabel, paper: Paper) -> bytes:
    """Return a sheet full of one label, in the smallest of `SIZES_MM` that it can be read in.

    Raises
    ------
    SpecError
        There is too much text for any, or no font for its language.
    KernelError
        The typesetter refuses.
    """
    for size_mm in SIZES_MM[:-1]:
        try:
            return label_sheet(design, label, size_mm, paper=paper)
        except SpecError as error:
            if error.field != "--size":
                raise
    return label_sheet(design, label, SIZES_MM[-1], paper=paper)


def _texts(label: FoodLabel, language: str) -> dict[str, Any]:
    """Return what stands on a label, as plain values."""
    head, _, foot = str(say("kitchen.label-ingredients", list="\n").text(language)).partition("\n")
    made = label.nutrition
    return {
        "title": label.title,
        "ingredients": [
            [head, False],
            *([run.text, run.is_emphasised] for run in list_runs(label.ingredients, language)),
            [foot, False],
        ],
        "contains": contains_statement(label, language) if label.law is Law.US else "",
        "net": net_quantity(label, language),
        "rows": []
        if made is None
        else [nutrition_heads(made, language), *nutrition_rows(made, language)],
        "missing": "" if made is None or not made.missing else missing_figures(made, language),
        "blanks": [blank.text(language) for blank in label.blanks],
    }
