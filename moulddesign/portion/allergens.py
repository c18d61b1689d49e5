"""Allergens: which the name of an ingredient points to, and who asks for them on a label."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from moulddesign.core import bundled_toml


@dataclass(frozen=True, slots=True, kw_only=True)
class Allergen:
    """A substance that a label has to name."""

    name: str
    """As the label names it: the cereal, the nut."""
    group: str
    """As cards and batches tell it."""
    eu: bool
    """Whether Regulation (EU) 1169/2011, Annex II, has it."""
    us: bool
    """Whether it is one of the nine of the US; from memory, as the other words are."""
    words: tuple[str, ...]
    """Words in names of ingredients that point to it."""


@cache
def known_allergens() -> Mapping[str, Allergen]:
    """Return the allergens that are known, by name, in the order in which they are told."""
    rows = _data()["allergens"]
    return {
        name: Allergen(
            name=name,
            group=row["group"],
            eu=row.get("eu", True),
            us=row.get("us", False),
            words=tuple(row["words"]),
        )
        for name, row in rows.items()
    }


def allergens_in(name: str) -> tuple[str, ...]:
    """Return the names of the allergens that words in an ingredient's name point to.

    Examples
    --------
    >>> allergens_in("walnut butter biscuit flour"), allergens_in("chestnut paste")
    (('wheat', 'walnut'), ())
    """
    left = _meant(name.lower())
    return tuple(
        allergen.name
        for allergen in known_allergens().values()
        if any(word in left for word in allergen.words)
    )


def allergen_groups(names: Iterable[str]) -> tuple[str, ...]:
    """Return the groups of some allergens, each once, in a fixed order."""
    given = set(names)
    return tuple(
        dict.fromkeys(each.group for each in known_allergens().values() if each.name in given)
    )


def _meant(name: str) -> str:
    for compound, meaning in _data()["other_meanings"].items():
        name = name.replace(compound, meaning)
    return name


@cache
def _data() -> Mapping[str, Any]:
    return bundled_toml("data", "allergens.toml")
