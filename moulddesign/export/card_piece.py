"""What a bench card says of one piece, whatever its mould: weights, balls, batch, sources."""

from collections.abc import Iterator, Mapping, Sequence
from enum import StrEnum
from typing import Any, Final

from pydantic import BaseModel

from moulddesign import __version__
from moulddesign.core import DESIGN, Message, say, source_of, word
from moulddesign.design import Centre, Design, PieceComposition, Purpose
from moulddesign.design.piece_tables import UNFILLED_RATIO
from moulddesign.export.entities import TIMES, format_number
from moulddesign.export.fonts import with_word_breaks
from moulddesign.kitchen import Recipe
from moulddesign.kitchen.batch import OnHand, parts
from moulddesign.kitchen.ingredient_list import recipe_allergens
from moulddesign.kitchen.piece_activity import told_water
from moulddesign.portion import (
    Figures,
    KnownCentre,
    LossSource,
    roll_for,
)

MOST_LISTED: Final = 3
"""Kinds of centres that the batch lists one by one."""

DOUGHS: Final = {
    PieceComposition.WRAPPED: say("export.card-crust-dough"),
    PieceComposition.SOLID: say("export.card-dough"),
    PieceComposition.POURED: say("export.card-mass"),
}
"""What is weighed for the crust, or for the whole."""

PASTE: Final = say("export.card-paste")

LOSS_SOURCES: Final = {
    LossSource.GIVEN: DESIGN,
    LossSource.DOUGHS: say("export.card-loss-by-doughs"),
    LossSource.UNMEASURED: say("export.card-loss-unmeasured"),
}

COMPUTED: Final = say("export.card-computed")

PIECES: Final = (12, 24, 48)
"""Batches that the card totals besides the design's own."""

WORDS: Final = {
    "raw": say("export.card-raw"),
    "shape": say("export.card-shape"),
    "others": say("export.card-others"),
    "steps": say("export.card-steps"),
    "use": say("export.card-use"),
    "together": say("export.card-go-together"),
    "silicone": say("export.card-silicone"),
    "silicone_fills": say("export.card-silicone-fills"),
    "cautions": say("export.card-cautions"),
    "allergens": say("export.card-allergens"),
    "water": say("export.card-water"),
    "remarks": say("export.card-remarks"),
    "failed": say("export.card-failed"),
    "pieces": say("export.card-pieces"),
    "pastry_shown": say("export.card-pastry-shown"),
    "parts_shown": say("export.card-parts-shown"),
    "bed_shown": say("export.card-bed-shown"),
    "section_shown": say("export.card-section-shown"),
    "relief_shown": say("export.card-relief-shown"),
    "other_shown": say("export.card-other-shown"),
    "page": say("export.card-page", number="NUMBER", count="COUNT"),
    "batch": say("export.card-batch"),
    "batch_adds": say("export.card-batch-adds"),
    "batch_line": say("export.card-batch-line"),
    "notes": say("export.card-notes"),
    "settings": say("export.card-settings"),
    "bed": say("export.card-on-bed"),
    "relief": say("export.card-relief"),
    "last": say("export.card-last-page"),
    "checks": say("export.card-checks"),
    "sources": say("export.card-sources"),
    "weigh": say("export.card-weigh"),
    "for_batch": say("export.card-for-batch"),
    "mix": say("export.card-mix"),
    "mixing": say("export.card-mixing"),
    "fewer": say("export.card-fewer"),
    "more": say("export.card-more"),
    "clear": say("export.card-clear"),
}
"""Headings and labels of the card, on paper and for a screen."""

LINE: Final = [
    say("export.card-date"),
    say("export.card-pieces"),
    say("export.card-weighed-raw"),
    say("export.card-weighed-finished"),
    say("export.card-by"),
]
"""What is written into the line of a batch."""

SOURCE_HEADS: Final = [
    say("export.card-figure"),
    say("export.card-value"),
    say("export.card-source"),
]


def sheet_head(design: Design, title: str) -> dict[str, Any]:
    """Return what the figures of every sheet begin with: its language, title and program."""
    return {
        "language": design.sheet_language,
        "title": title,
        "name": with_word_breaks(title),
        "program": f"moulddesign {__version__}",
    }


def piece_figures(
    design: Design,
    made: Figures,
    recipe: Recipe | None,
    bore_mm: float | None,
    *,
    beside: tuple[Message, ...],
    mould: str = "",
) -> dict[str, Any]:
    """Return what a card says of a piece, as plain values of text, messages and lists.

    Parameters
    ----------
    recipe : Recipe or None
        Its ingredients tell allergens and water activity, where one is known.
    bore_mm : float or None
        Least width of what the piece has to enter, where it is known [mm].
    beside : tuple of Message
        What else is said beside the weights, such as what rounding to the scale does.
    mould : str
        Name of a mould that exists.
    """
    loss = say("export.card-comma-loss") if design.portion.is_loss_unmeasured else ""
    raw, finished = grams(made.split.raw_g), grams(made.piece.finished_g)
    of = say("export.card-for-mould", mould=mould) if mould and mould != design.name else ""
    each = _each(design, made, recipe)
    what = say("export.card-what", finished=finished, loss=loss, made_of=_made_of(design), of=of)
    return {
        **sheet_head(design, design.name),
        "weights": list(_weights(design, made)),
        "words": WORDS,
        "line": LINE,
        "source_heads": SOURCE_HEADS,
        "what": what,
        "raw_g": raw,
        "loss": loss,
        "beside": (*_rounded(design, made), *beside, *_label(made)),
        "shapes": list(_balls(design, made, bore_mm)),
        "each": each,
        "batch": _batch(design, each),
        "allergens": _allergens(design, made, recipe),
        "water": _water(design, recipe),
        "sources": list(map(list, _sources(design, made))),
    }


def _rounded(design: Design, made: Figures) -> Iterator[Message]:
    """Yield to which step the weights are rounded, and the ratio that they have then."""
    yield say("export.card-rounded", step=format_number(design.scale.resolution_g))
    if made.is_filled:
        yield say("export.card-rounded-ratio", ratio=str(made.split.ratio))


def _made_of(design: Design) -> Message:
    """Return what a piece consists of, and that it is no food where it is none."""
    table = design.portion
    said = word(table.composition.value)
    if table.is_filled:
        said = say("export.card-ratio", ratio=table.ratio)
    return say("export.card-not-food", made_of=said) if table.purpose is Purpose.NOT_FOOD else said


def _weights(design: Design, made: Figures) -> Iterator[list[Message | str]]:
    """Yield what is weighed: name, grams as the scale shows them, grams exactly."""
    piece, split = made.piece, made.split

    def exact(mass_g: float) -> Message | str:
        if design.portion.is_loss_unmeasured:
            return say("export.card-unsure", mass_g=mass_g)
        return f"{mass_g:.2f} g"

    yield [DOUGHS[made.composition], grams(split.crust_g), exact(piece.crust_g)]
    if not made.is_filled:
        return
    names = [
        say("export.card-times", count=one.count, times=TIMES, name=_name(one.name))
        if one.count > 1
        else _name(one.name)
        for one in made.centres
    ]
    if made.together:
        low_g, high_g = split.paste_range_g
        listed = tuple(
            say("export.card-centre-g", name=name, grams=grams(one.total_g))
            for name, one in zip(names, made.centres, strict=True)
        )
        first = say("export.card-first", centres=listed, low_g=low_g, high_g=high_g)
        title = say("export.card-paste-with-centres")
        if len(names) == 1:
            title = say("export.card-paste-with", centre=names[0])
        yield [title, grams(split.filling_g), first]
        return
    yield [PASTE, grams(split.paste_g), exact(piece.paste_g)]
    for name, one in zip(names, made.centres, strict=True):
        yield [name, grams(one.total_g), say("export.card-counted")]


def _name(food: str) -> Message:
    """Return a food's name in each language; one of a person's own as it was typed."""
    known = word(food)
    return word(with_word_breaks(food)) if known.is_unknown else known


def _label(made: Figures) -> Iterator[Message]:
    target = made.label
    if target is not None:
        yield say(
            "export.card-label",
            finished_g=made.piece.finished_g,
            label=format_number(target.label_g),
            short=format_number(target.deficiency_g),
        )


def _balls(design: Design, made: Figures, bore_mm: float | None) -> Iterator[list[Message | str]]:
    """Yield what to roll: name and size."""
    balls = made.balls
    if made.composition is PieceComposition.POURED:
        return
    if balls.disc_mm is None:
        yield [say("export.card-ball"), f"⌀ {balls.wrapped_mm:.0f} mm"]
    else:
        yield [say("export.card-crust-ball"), f"⌀ {balls.crust_mm:.0f} mm"]
        disc = f"⌀ {balls.disc_mm:.0f} {TIMES} {balls.shell_mm:.1f} mm"
        yield [say("export.card-disc"), disc]
        filling = say("export.card-filling-ball")
        if made.centres:
            filling = say("export.card-centred-ball")
        yield [filling, f"⌀ {balls.filling_mm:.0f} mm"]
        yield [say("export.card-wrapped-ball"), f"⌀ {balls.wrapped_mm:.0f} mm"]
    roll = None if bore_mm is None else roll_for(design, made.piece, bore_mm)
    if roll is not None:
        form = "□" if design.pastry.outline == "square" else "⌀"
        size = f"{form} {roll.across_mm:.0f} {TIMES} {roll.length_mm:.0f} mm"
        yield [say("export.card-shaped"), size]


def _each(design: Design, made: Figures, recipe: Recipe | None) -> dict[str, Any]:
    """Return what one piece of a batch takes: grams in it and to mix for it, and centres."""
    is_whole = recipe is not None and (recipe.filling is not None or not made.is_filled)
    doughs = zip(
        (DOUGHS[made.composition], PASTE),
        parts(design, recipe if is_whole else None, made.split, pieces=1, have=OnHand()),
        strict=True,
    )
    centres = [[_name(c.name), c.count] for c in design.portion.centres]
    if len(centres) > MOST_LISTED:
        centres = [[say("export.card-all-centres"), sum(c.count for c in design.portion.centres)]]
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
            [say("export.card-in-g", name=name), *[grams(count * one_g) for count in counts]]
            for name, one_g, _ in each["doughs"]
        ],
        "centres": [
            [name, *[str(one * count) for count in counts]] for name, one in each["centres"]
        ],
    }


def _allergens(design: Design, made: Figures, recipe: Recipe | None) -> tuple[Message, ...]:
    """Return what the names of ingredients and centres tell; a name unknown tells nothing."""
    if design.portion.purpose is Purpose.NOT_FOOD:
        return (say("export.card-no-food"),)
    centres = [centre.name for centre in made.centres]
    lines = () if recipe is None else recipe.lines
    named = recipe_allergens(recipe, centres)
    said = []
    if recipe is None:
        filled = made.is_filled
        said = [say("export.card-unjudged") if filled else say("export.card-dough-unjudged")]
    if named.unknown:
        said.append(say("export.card-unknown", names=tuple(map(with_word_breaks, named.unknown))))
    if len(named.unknown) < len({*centres, *(line.food for line in lines)}):
        found = tuple(map(word, named.found)) or (say("export.card-no-allergen"),)
        if recipe is None:
            said.append(say("export.card-centres-point-to", found=found))
        elif centres:
            said.append(say("export.card-both-point-to", found=found))
        else:
            said.append(say("export.card-recipe-points-to", found=found))
    return (*said, say("export.card-read-packets"))


def _water(design: Design, recipe: Recipe | None) -> tuple[Message, ...]:
    """Return the estimates of water activity; none without a recipe, or for what is no food."""
    if recipe is None or design.portion.purpose is Purpose.NOT_FOOD:
        return ()
    return told_water(recipe, design.portion)


def _sources(design: Design, made: Figures) -> Iterator[tuple[Message | str, ...]]:
    """Yield the figures that the weights depend on: name, value, source."""
    for table in (design.portion, design.scale, design.dough):
        yield from _given(table)
    yield from _centre_sources(design.portion.centres, made.centres)
    parts = (("crust", made.crust_density), ("paste", made.filling_density))
    for part, density in parts if made.is_filled else (("dough", made.crust_density),):
        shown = f"{density.g_per_ml:.3f} +- {density.sd_g_per_ml:.3f} g/mL"
        yield say("export.card-density-of", part=word(part)), shown, source_of(density.source)
    loss = f"{made.loss.ratio:.3f} +- {made.loss.uncertainty:.3f}"
    yield say("export.card-loss"), loss, LOSS_SOURCES[made.loss.source]
    yield say("export.card-raw-weight"), f"{made.piece.raw_g:.2f} g", COMPUTED
    yield say("export.card-volume"), f"{made.piece.volume_ml:.2f} mL", COMPUTED


def _centre_sources(
    asked: Sequence[Centre], centres: Sequence[KnownCentre]
) -> Iterator[tuple[Message | str, ...]]:
    """Yield the figures of the centres; one that several share comes once."""
    whose: dict[tuple[Message, str, Message], list[str]] = {}
    for wanted, centre in zip(asked, centres, strict=True):
        density = f"{centre.density_g_per_ml:.3g} +- {centre.density_sd_g_per_ml:.2g} g/mL"
        mass = f"{centre.mass_g:g} +- {centre.mass_sd_g:.2g} g"
        for row in (
            (say("export.card-mass-of-one"), mass, _of_the_mass(wanted)),
            (say("export.card-density"), density, source_of(centre.density_source)),
        ):
            whose.setdefault(row, []).append(centre.name)
    for (name, value, source), names in sorted(whose.items(), key=lambda row: len(row[1])):
        each = say("export.card-each-centre")
        shared = each if len(names) == len(centres) else say("export.centres", count=len(names))
        part = _name(names[0]) if len(names) == 1 else shared
        yield say("core.of-part", part=part, what=name), value, source


def _of_the_mass(centre: Centre) -> Message:
    """Return where a centre's mass and its scatter come from."""
    field = Centre.model_fields["mass_spread"]
    extra = field.json_schema_extra
    if centre.mass_spread != field.default or not isinstance(extra, dict):
        return DESIGN
    return say("export.card-scatter", source=source_of(str(extra["source"])))


STATED_ELSEWHERE: Final = {
    "name", "composition", "purpose", "crust_dough", "filling_paste", "centres_weighed", "loss",
    "loss_uncertainty", "crust_density_g_per_ml", "crust_density_sd_g_per_ml",
    "filling_density_g_per_ml", "filling_density_sd_g_per_ml",
}  # fmt: skip
"""Fields that no row of their own is for."""


def _given(table: BaseModel) -> Iterator[tuple[Message | str, ...]]:
    """Yield the figures of a table of the design, each with its source."""
    for key, field in type(table).model_fields.items():
        value = getattr(table, key)
        stated = key in STATED_ELSEWHERE or value == UNFILLED_RATIO
        if stated or value is None or isinstance(value, tuple):
            continue
        extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
        source = source_of(str(extra.get("source", ""))) if value == field.default else DESIGN
        shown: Message | str = f"{_plain(value)} {extra.get('unit', '')}".strip()
        if isinstance(value, StrEnum):
            shown = word(value.value)
        yield word(field.description or key), shown, source


def _plain(value: object) -> str:
    if isinstance(value, float):
        return format_number(value) if value >= 1.0 else f"{value:g}"
    return f"{value}"


def grams(mass_g: float) -> str:
    """Return grams as a scale shows them, at most one decimal."""
    return f"{mass_g:.1f}".removesuffix(".0")
