"""What a bench card says of one piece, whatever its mould: weights, balls, batch, sources."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from pydantic import BaseModel

from moulddesign import __version__
from moulddesign.design import Centre, Design, PieceComposition, Purpose
from moulddesign.design.piece_tables import UNFILLED_RATIO
from moulddesign.export.entities import TIMES, format_number
from moulddesign.export.fonts import with_word_breaks
from moulddesign.kitchen import OnHand, Recipe
from moulddesign.kitchen.batch import parts
from moulddesign.portion import (
    Figures,
    KnownCentre,
    LossSource,
    allergen_list,
    roll_for,
)

MOST_LISTED: Final = 3
"""Kinds of centres that the batch lists one by one."""

DOUGHS: Final = {
    PieceComposition.WRAPPED: "Crust dough",
    PieceComposition.SOLID: "Dough",
    PieceComposition.POURED: "Mass to pour",
}
"""What is weighed for the crust, or for the whole."""

LOSS_SOURCES: Final = {
    LossSource.GIVEN: "the design",
    LossSource.DOUGHS: "dry-matter balance of the named doughs: "
    "common practice, no source; weigh a trial",
    LossSource.UNMEASURED: "unmeasured, from memory for a thin syrup crust; weigh a trial",
}

COMPUTED: Final = "computed from the figures above"

PIECES: Final = (12, 24, 48)
"""Batches that the card totals besides the design's own."""

WORDS: Final = {
    "raw": "Raw piece",
    "shape": "Shape and press",
    "others": "In the same sleeve",
    "steps": "How to press",
    "use": "How it is used",
    "silicone": "Silicone to mix",
    "cautions": "Cautions",
    "allergens": "Allergens",
    "remarks": "Remarks",
    "failed": "Published in spite of findings that failed:",
    "pieces": "Pieces",
    "pastry_shown": "The pressed pastry, seen from the front and above",
    "parts_shown": "The parts, apart, and the pastry",
    "other_shown": "The pastry under",
}
"""Headings and labels of the card, on paper and for a screen."""


def piece_figures(
    design: Design,
    made: Figures,
    recipe: Recipe | None,
    bore_mm: float | None,
    *,
    rounding: str,
    mould: str = "",
) -> dict[str, Any]:
    """Return what a card says of a piece, as plain values of text and lists.

    Parameters
    ----------
    recipe : Recipe or None
        Its ingredients tell the allergens, where one is known.
    bore_mm : float or None
        Least width of what the piece has to enter, where it is known [mm].
    rounding : str
        What rounding to the scale does to the height.
    mould : str
        Name of a mould that exists.
    """
    loss = ", loss unmeasured" if design.portion.is_loss_unmeasured else ""
    raw, finished = grams(made.split.raw_g), grams(made.piece.finished_g)
    whose = f"; for the mould {mould}" if mould and mould != design.name else ""
    each = _each(design, made, recipe)
    return {
        "title": design.name,
        "name": with_word_breaks(design.name),
        "program": f"moulddesign {__version__}",
        "weights": list(_weights(design, made)),
        "words": WORDS,
        "what": f"Bench card: one piece of {finished} g finished{loss}, {_made_of(design)}{whose}",
        "raw_g": raw,
        "loss": loss,
        "beside": " ".join(filter(None, (_rounded(design, made), rounding, _label(made)))),
        "shapes": list(_balls(design, made, bore_mm)),
        "each": each,
        "batch": _batch(design, each),
        "allergens": _allergens(design, made, recipe),
        "sources": [list(row) for row in _sources(design, made)],
    }


def _rounded(design: Design, made: Figures) -> str:
    """Return to which step the weights are rounded, and the ratio that they have then."""
    step = format_number(design.scale.resolution_g)
    ratio = f" The ratio is then {made.split.ratio}." if made.is_filled else ""
    return f"Rounded to the scale's step of {step} g so that the total is right.{ratio}"


def _made_of(design: Design) -> str:
    """Return what a piece consists of, and that it is no food where it is none."""
    table = design.portion
    said = f"crust to filling {table.ratio} by mass"
    if not table.is_filled:
        said = table.composition.value
    return f"NOT FOOD, {said}" if table.purpose is Purpose.NOT_FOOD else said


def _weights(design: Design, made: Figures) -> Iterator[list[str]]:
    """Yield what is weighed: name, grams as the scale shows them, grams exactly."""
    piece, split = made.piece, made.split
    unsure = ", by a loss that nobody measured" if design.portion.is_loss_unmeasured else ""
    dough = DOUGHS[made.composition]
    yield [dough, grams(split.crust_g), f"{piece.crust_g:.2f} g{unsure}"]
    if not made.is_filled:
        return
    names = [
        with_word_breaks(f"{one.count} {TIMES} {one.name}" if one.count > 1 else one.name)
        for one in made.centres
    ]
    if made.together:
        low_g, high_g = split.paste_range_g
        each = zip(names, made.centres, strict=True)
        listed = ", ".join(f"{name} ({grams(one.total_g)} g)" for name, one in each)
        first = f"first {listed}, then paste up to this weight: {low_g:.1f} to {high_g:.1f} g of it"
        title = f"Paste with {names[0]}" if len(names) == 1 else "Paste with centres"
        yield [title, grams(split.filling_g), first]
        return
    yield ["Filling paste", grams(split.paste_g), f"{piece.paste_g:.2f} g{unsure}"]
    for name, one in zip(names, made.centres, strict=True):
        yield [name, grams(one.total_g), "counted, not weighed"]


def _label(made: Figures) -> str:
    target = made.label
    if target is None:
        return ""
    finished = f"{made.piece.finished_g:.1f}"
    label, short = format_number(target.label_g), format_number(target.deficiency_g)
    return (
        f"These weights give {finished} g finished, for a label of {label} g (deficiency of "
        f"{short} g a pack; guidance only, local law decides)."
    )


def _balls(design: Design, made: Figures, bore_mm: float | None) -> Iterator[list[str]]:
    """Yield what to roll: name and size."""
    balls = made.balls
    if made.composition is PieceComposition.POURED:
        return
    if balls.disc_mm is None:
        yield ["Ball of dough", f"⌀ {balls.wrapped_mm:.0f} mm"]
    else:
        yield ["Ball of crust dough", f"⌀ {balls.crust_mm:.0f} mm"]
        yield ["…rolled to a disc", f"⌀ {balls.disc_mm:.0f} {TIMES} {balls.shell_mm:.1f} mm"]
        centred = " with centres" if made.centres else ""
        yield [f"Ball of filling{centred}", f"⌀ {balls.filling_mm:.0f} mm"]
        yield ["Wrapped ball", f"⌀ {balls.wrapped_mm:.0f} mm"]
    roll = None if bore_mm is None else roll_for(design, made.piece, bore_mm)
    if roll is not None:
        form = "□" if design.pastry.outline == "square" else "⌀"
        size = f"{form} {roll.across_mm:.0f} {TIMES} {roll.length_mm:.0f} mm"
        yield ["…shaped to enter the mould", size]


def _each(design: Design, made: Figures, recipe: Recipe | None) -> dict[str, Any]:
    """Return what one piece of a batch takes: grams in it and to mix for it, and centres."""
    is_whole = recipe is not None and (recipe.filling is not None or not made.is_filled)
    doughs = zip(
        (DOUGHS[made.composition], "Filling paste"),
        parts(design, recipe if is_whole else None, made.split, pieces=1, have=OnHand()),
        strict=True,
    )
    centres = [[with_word_breaks(c.name), c.count] for c in design.portion.centres]
    if len(centres) > MOST_LISTED:
        centres = [["Centres of all kinds", sum(c.count for c in design.portion.centres)]]
    return {
        "doughs": [[name, one.pieces_g, one.mixed_g] for name, one in doughs if one.pieces_g > 0.0],
        "centres": centres,
        "pieces": PIECES[0] if design.batch.pieces is None else design.batch.pieces,
    }


def _batch(design: Design, each: Mapping[str, Any]) -> dict[str, Any]:
    """Return totals of crust and paste for some numbers of pieces, without any losses."""
    asked = design.batch.pieces
    counts = sorted({*PIECES, asked}) if asked is not None else list(PIECES)
    return {
        "heads": [str(count) for count in counts],
        "doughs": [
            [f"{name}, g", *[grams(count * one_g) for count in counts]]
            for name, one_g, _ in each["doughs"]
        ],
        "centres": [
            [name, *[str(one * count) for count in counts]] for name, one in each["centres"]
        ],
    }


def _allergens(design: Design, made: Figures, recipe: Recipe | None) -> str:
    """Return what the names of ingredients and centres tell; a name unknown tells nothing."""
    if design.portion.purpose is Purpose.NOT_FOOD:
        return "No food: not to be eaten."
    centres = [centre.name for centre in made.centres]
    lines = () if recipe is None else recipe.lines
    named = allergen_list([*centres, *(line.food for line in lines)])
    unjudged = "crust and paste are" if made.is_filled else "the dough is"
    said = [] if recipe is not None else [f"No recipe is known, so {unjudged} not judged."]
    if named.unknown:
        said.append(f"Nothing is known of {', '.join(map(with_word_breaks, named.unknown))}.")
    if len(named.unknown) < len({*centres, *(line.food for line in lines)}):
        whose = "centres" if recipe is None else "recipe and centres" if centres else "recipe"
        found = ", ".join(named.found) or "no allergen"
        said.append(f"The names in the {whose} point to: {found}.")
    return " ".join([*said, "Read every packet all the same."])


def _sources(design: Design, made: Figures) -> Iterator[tuple[str, str, str]]:
    """Yield the figures that the weights depend on: name, value, source."""
    for table in (design.portion, design.scale):
        yield from _given(table)
    yield from _centre_sources(design.portion.centres, made.centres)
    parts = (("crust", made.crust_density), ("paste", made.filling_density))
    for part, density in parts if made.is_filled else (("dough", made.crust_density),):
        shown = f"{density.g_per_ml:.3f} +- {density.sd_g_per_ml:.3f} g/mL"
        yield f"density of the {part}", shown, density.source
    loss = f"{made.loss.ratio:.3f} +- {made.loss.uncertainty:.3f}"
    yield "loss in baking and resting", loss, LOSS_SOURCES[made.loss.source]
    yield "raw weight", f"{made.piece.raw_g:.2f} g", COMPUTED
    yield "pressed volume", f"{made.piece.volume_ml:.2f} mL", COMPUTED


def _centre_sources(
    asked: Sequence[Centre], centres: Sequence[KnownCentre]
) -> Iterator[tuple[str, str, str]]:
    """Yield the figures of the centres; one that several share comes once."""
    whose: dict[tuple[str, str, str], list[str]] = {}
    for wanted, centre in zip(asked, centres, strict=True):
        density = f"{centre.density_g_per_ml:.3g} +- {centre.density_sd_g_per_ml:.2g} g/mL"
        for row in (
            ("mass of one", f"{centre.mass_g:g} +- {centre.mass_sd_g:.2g} g", _of_the_mass(wanted)),
            ("density", density, centre.density_source),
        ):
            whose.setdefault(row, []).append(with_word_breaks(centre.name))
    for (name, value, source), names in sorted(whose.items(), key=lambda row: len(row[1])):
        shared = "each centre" if len(names) == len(centres) else f"{len(names)} centres"
        yield f"{names[0] if len(names) == 1 else shared}: {name}", value, source


def _of_the_mass(centre: Centre) -> str:
    """Return where a centre's mass and its scatter come from."""
    field = Centre.model_fields["mass_spread"]
    extra = field.json_schema_extra
    if centre.mass_spread != field.default or not isinstance(extra, dict):
        return "the design"
    return f"the design; its scatter: {extra['source']}"


STATED_ELSEWHERE: Final = {
    "name", "composition", "purpose", "crust_dough", "filling_paste", "centres_weighed", "loss",
    "loss_uncertainty", "crust_density_g_per_ml", "crust_density_sd_g_per_ml",
    "filling_density_g_per_ml", "filling_density_sd_g_per_ml",
}  # fmt: skip
"""Fields that no row of their own is for."""


def _given(table: BaseModel) -> Iterator[tuple[str, str, str]]:
    """Yield the figures of a table of the design, each with its source."""
    for key, field in type(table).model_fields.items():
        value = getattr(table, key)
        stated = key in STATED_ELSEWHERE or value == UNFILLED_RATIO
        if stated or value is None or isinstance(value, tuple):
            continue
        extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
        source = str(extra.get("source", "")) if value == field.default else "the design"
        shown = format_number(value) if isinstance(value, float) and value >= 1.0 else _plain(value)
        yield field.description or key, f"{shown} {extra.get('unit', '')}".strip(), source


def _plain(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else f"{value}"


def grams(mass_g: float) -> str:
    """Return grams as a scale shows them, at most one decimal."""
    return f"{mass_g:.1f}".removesuffix(".0")
