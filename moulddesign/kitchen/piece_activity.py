"""Water activity of the piece and of its parts, from the water that each ends with."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from moulddesign.core import Message, SpecError, say, word
from moulddesign.design import PortionTable
from moulddesign.kitchen.piece_water import PartWater, PieceWater, piece_water
from moulddesign.kitchen.recipe import Recipe, RecipePart
from moulddesign.kitchen.water_activity import (
    ABOVE,
    BELOW,
    LEAST_SHOWN,
    SALT,
    SOLUTES,
    WaterMix,
    common_activity,
    held_water_g,
    part_mix,
    water_activity,
)

BOUNDS: Final = (0.85, 0.88, 0.92)
"""Of water activity: 21 CFR 114.3; US Food Code 1-201.10, baked and then not packaged, and
packaged. Published."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceActivity:
    """Water activity of crust and paste, estimated, and where both end together."""

    parts: Mapping[str, float]
    """Estimate by part, `crust` and `filling`; under `LEAST_SHOWN` it is no figure to show."""
    common: float | None
    """When water has moved until both are equal; None for a piece of one part."""
    common_water: Mapping[str, float]
    """Water of each part then, as a share of its mass; empty for a piece of one part."""
    lower: tuple[tuple[Message, float], ...]
    """What would lower the wettest part, and its estimate then; the strongest first."""
    unknown: tuple[str, ...]
    """Ingredients whose kinds of carbohydrate nobody said."""


def piece_activity(recipe: Recipe, water: PieceWater) -> PieceActivity:
    """Return the water activity of a finished piece's parts, without its centres.

    Raises
    ------
    SpecError
        An ingredient's composition is unknown, or a part has no water.
    """
    mixes = {part.name: _wetter_mix(recipe.parts[part.name], part) for part in water.parts}
    found = {name: water_activity(mix) for name, mix in mixes.items()}
    common, common_water = None, {}
    if len(mixes) > 1:
        common = common_activity(mixes.values())
        for part in water.parts:
            held_g = held_water_g(mixes[part.name], common)
            dry_g = 100.0 * part.finished_share * (1.0 - part.after)
            common_water[part.name] = held_g / (held_g + dry_g)
    wettest = max(found, key=lambda name: found[name])
    part = next(each for each in water.parts if each.name == wettest)
    return PieceActivity(
        parts=found,
        common=common,
        common_water=common_water,
        lower=tuple(_lower(mixes[wettest], 100.0 * part.finished_share, found[wettest])),
        unknown=tuple(dict.fromkeys(name for mix in mixes.values() for name in mix.unknown)),
    )


ABOUT_EQUAL: Final = 0.01
"""Difference of two estimates that says nothing; our choice."""


def _wetter_mix(recipe: RecipePart, part: PartWater) -> WaterMix:
    """Return the mix of a part; carbohydrate of unknown kind as what gives the higher activity."""
    as_starch, as_sugar = (
        part_mix(
            recipe, mass_g=100.0 * part.finished_share, water=part.after, unknown_as=unknown_as
        )
        for unknown_as in (None, SOLUTES["sucrose"])
    )
    if not as_starch.unknown:
        return as_starch
    return max(as_starch, as_sugar, key=water_activity)


LESS_WATER: Final = 0.02
"""Share of a part's mass that a little more cooking takes, in what is tried to lower it."""

ADDED: Final = (("glycerol", 0.03), ("sorbitol", 0.05), ("fructose", 0.05), ("salt", 0.005))
"""What is tried to lower a part's water activity, as shares of its mass; our choice."""


def _lower(mix: WaterMix, mass_g: float, now: float) -> Iterator[tuple[Message, float]]:
    """Yield what lowers a part's activity by a hundredth or more, the strongest first.

    Under `LEAST_SHOWN` there is nothing to show.
    """
    if now < LEAST_SHOWN:
        return
    tried = []
    if mix.water_g > LESS_WATER * mass_g:
        less = replace(mix, water_g=mix.water_g - LESS_WATER * mass_g)
        tried.append((say("kitchen.less-water", grams=100.0 * LESS_WATER), water_activity(less)))
    for name, share in ADDED:
        solute = SALT if name == SALT.name else SOLUTES[name]
        more = mix.with_more(solute, share * mass_g)
        said = say("kitchen.more-of", grams=100.0 * share, what=word(name))
        tried.append((said, water_activity(more)))
    yield from sorted(
        (each for each in tried if round(now - each[1], 2) > 0.0), key=lambda each: each[1]
    )


def told_water(recipe: Recipe, table: PortionTable) -> tuple[Message, ...]:
    """Return what a card says of a recipe's water activity, or which figure it lacks for it.

    Centres are left out: their water is often unknown, and the other parts' activity is their own.
    """
    try:
        found = piece_activity(
            recipe, piece_water(recipe, table.model_copy(update={"centres": ()}))
        )
    except SpecError as error:
        return (say("kitchen.water-untold", field=error.field, need=error.need),)
    return tuple(_each_activity(found))


def _each_activity(found: PieceActivity) -> Iterator[Message]:
    for name, value in found.parts.items():
        yield say("kitchen.activity-of", part=word(name), range=shown_activity(value))
    yield judged_activity(max(found.parts.values()))


def activity_sentences(found: PieceActivity) -> Iterator[Message]:
    """Yield what the water activities say, each with its range, judged by the highest top."""
    yield from _each_activity(found)
    if found.common is not None:
        dry, wet = sorted(found.parts, key=lambda name: found.parts[name])
        if found.parts[wet] - found.parts[dry] < ABOUT_EQUAL:
            yield say("kitchen.water-stays")
        else:
            ends = {name: 100.0 * share for name, share in found.common_water.items()}
            common = shown_activity(found.common)
            yield say(
                "kitchen.water-moves", wet=word(wet), dry=word(dry), common=common,
                crust=ends["crust"], filling=ends["filling"],
            )  # fmt: skip
    if found.lower:
        wettest = max(found.parts, key=lambda name: found.parts[name])
        ways = tuple(
            say("kitchen.lowers-to", way=way, value=_plain(value)) for way, value in found.lower
        )
        yield say("kitchen.lowers", part=word(wettest), ways=ways)
    if found.unknown:
        yield say("kitchen.sugars-unknown", names=found.unknown)


def shown_activity(value: float) -> Message:
    """Return an estimate with its range; what lies under 0.70 has no figure."""
    low, high = activity_range(value)
    if high < LEAST_SHOWN:
        return say("kitchen.activity-under", least=LEAST_SHOWN)
    if value < LEAST_SHOWN:
        return say("kitchen.activity-under-to", least=LEAST_SHOWN, high=high)
    if low < LEAST_SHOWN:
        return say("kitchen.activity-down", value=value, least=LEAST_SHOWN, high=high)
    return say("kitchen.activity-within", value=value, low=low, high=high)


def activity_range(value: float) -> tuple[float, float]:
    """Return between which values the truth may lie."""
    return value - BELOW, min(1.0, value + ABOVE)


def judged_activity(value: float) -> Message:
    """Return what the range of an estimate means beside the published bounds, by its top."""
    low, high = activity_range(value)
    first, baked, packaged = BOUNDS
    if low > first:
        return say("kitchen.activity-above", bound=first, baked=baked, packaged=packaged)
    if high > first:
        return say("kitchen.activity-crosses", bound=first, baked=baked, packaged=packaged)
    return say("kitchen.activity-below", bound=first)


def _plain(value: float) -> Message:
    if value < LEAST_SHOWN:
        return say("kitchen.activity-under", least=LEAST_SHOWN)
    return say("kitchen.activity-figure", value=value)
