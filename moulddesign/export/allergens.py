"""Allergens that the names of ingredients give away."""

from collections.abc import Iterable
from typing import Final

WORDS: Final = {
    "wheat or another cereal with gluten": (
        "wheat", "flour", "rye", "barley", "oat", "spelt", "semolina", "gluten",
    ),
    "egg": ("egg", "yolk", "mayonnaise"),
    "milk": ("milk", "butter", "cream", "cheese", "yoghurt", "whey", "casein"),
    "nuts": (
        "almond", "hazelnut", "walnut", "cashew", "pecan", "brazil nut", "pistachio", "macadamia",
        "nut paste", "marzipan", "praline",
    ),
    "peanut": ("peanut", "groundnut"),
    "sesame": ("sesame", "tahini"),
    "soya": ("soya", "soy", "tofu", "miso"),
    "fish or shellfish": ("fish", "shrimp", "prawn", "crab", "oyster", "squid", "anchovy"),
    "lupin": ("lupin",),
    "celery": ("celery",),
    "mustard": ("mustard",),
    "sulphites": ("sulphite", "sulfite"),
}  # fmt: skip
"""Words that point to an allergen: the groups of Regulation (EU) 1169/2011, Annex II; the group
list and the words are from memory, so a label is checked against local law and the packets."""

MEANS: Final = {
    "peanut butter": "peanut", "cocoa butter": "", "shea butter": "", "coconut milk": "",
    "coconut cream": "", "cream of tartar": "", "buckwheat": "", "rice flour": "",
    "chestnut flour": "", "corn flour": "", "maize flour": "", "potato flour": "",
    "tapioca flour": "", "chickpea flour": "",
}  # fmt: skip
"""Names in which a word above means something else, and what is left of them."""


def allergens(ingredients: Iterable[str]) -> tuple[str, ...]:
    """Return the allergens that names of ingredients point to, in a fixed order.

    Parameters
    ----------
    ingredients : iterable of str
        Names.

    Examples
    --------
    >>> allergens(["Wheat flour", "rice flour", "salted egg yolk"])
    ('wheat or another cereal with gluten', 'egg')
    >>> allergens(["peanut butter"])
    ('peanut',)
    """
    names = [_meant(name.lower()) for name in ingredients]
    return tuple(
        allergen
        for allergen, words in WORDS.items()
        if any(word in name for name in names for word in words)
    )


def _meant(name: str) -> str:
    for other, left in MEANS.items():
        name = name.replace(other, left)
    return name
