"""How a field of the design is declared, and pydantic's errors about it as sentences."""

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from itertools import pairwise
from typing import Any, Final, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from moulddesign.core import SpecError

PRACTICE: Final = "common practice, no source"
MEMORY: Final = "from memory, measure your own"
CHOICE: Final = "our choice, change it freely"


class Table(BaseModel):
    """A frozen table of the design file that refuses unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """Return the table of nested plain values, as TOML holds them.

        Raises
        ------
        SpecError
            A key is unknown, or a value is missing or cannot be used.
        """
        try:
            return cls.model_validate(dict(values))
        except ValidationError as error:
            raise spec_error(error, cls) from error


def given(default: Any, says: str, *, unit: str = "", source: str = CHOICE, **limits: Any) -> Any:  # noqa: ANN401 (pydantic's Field is typed so)
    """Return a field with its default, unit, limits and the source of the default.

    Parameters
    ----------
    default : object
        The default, or `...` where there is none.
    says : str
        What the field is, for the schema, the help and the page.
    unit : str
        Unit of the value; empty for a word, a count or a ratio.
    source : str
        Where the default comes from, with its status.
    **limits : float or str
        pydantic's limits: `gt`, `ge`, `lt`, `le`, `min_length`, `max_length`, `pattern`.

    Returns
    -------
    pydantic.fields.FieldInfo
        Ready to stand beside an annotation. Numbers are taken strictly: no text, no truth value.
    """
    return Field(
        default,
        description=says,
        strict=True if {"gt", "ge", "lt", "le"} & limits.keys() else None,
        json_schema_extra={"unit": unit, "source": source},
        **limits,
    )


MOST_SHOWN: Final = 80
"""Longest value that a sentence repeats in full [characters]."""

TABLE: Final = "(a table)"
"""Stands for a whole table as a value."""

ORDINALS: Final = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")

NEEDS: Final = {
    "greater_than": "must be above {gt:g}{unit}",
    "greater_than_equal": "must be at least {ge:g}{unit}",
    "less_than": "must be below {lt:g}{unit}",
    "less_than_equal": "must be at most {le:g}{unit}",
    "finite_number": "must be a finite number",
    "float_type": "must be a number without quotes",
    "float_parsing": "must be a number without quotes",
    "int_type": "must be a whole number without quotes",
    "int_from_float": "must be a whole number",
    "string_type": "must be text in quotes",
    "string_too_short": "must not be empty",
    "string_too_long": "must have at most {max_length} characters",
    "enum": "must be one of {expected}",
    "missing": "is missing and has no default",
    "tuple_type": "must be a list",
    "too_long": "must have at most {max_length} entries",
    "model_type": "must be a table of keys",
    "value_error": "{error}",
}
"""What each kind of pydantic error asks for; the braces are its own context."""


class EntryError(SpecError):
    """A value in a list of tables cannot be used; its sentence counts the entries from 1.

    Examples
    --------
    >>> print(EntryError("relief.layers.0", TABLE, "needs a motif"))
    relief.layers.1 (the first layer): needs a motif.
    >>> print(EntryError("relief.layers.1.size_mm", -1, "must be above 0 mm"))
    relief.layers.2.size_mm (the second layer) = -1: must be above 0 mm.
    """

    def __str__(self) -> str:
        said = "" if self.value == TABLE else f" = {self.value!r}"
        return f"{_counted(self.field)}{said}: {self.need}."


def _counted(field: str) -> str:
    """Return a dotted name with its entries counted from 1, and which entry it is in words."""
    parts = field.split(".")
    places = [place for place, part in enumerate(parts) if part.isdecimal()]
    entry = int(parts[places[-1]])
    noun = parts[places[-1] - 1].removesuffix("s").replace("_", " ")
    for place in places:
        parts[place] = str(int(parts[place]) + 1)
    which = f"the {ORDINALS[entry]} {noun}" if entry < len(ORDINALS) else f"{noun} {entry + 1}"
    return f"{'.'.join(parts)} ({which})"


def spec_error(error: ValidationError, model: type[BaseModel]) -> SpecError:
    """Return the first thing that a validation found wrong, as one sentence.

    Parameters
    ----------
    error : ValidationError
        What pydantic raised.
    model : type of BaseModel
        The model that was validated: its units and nearest names go into the sentence.

    Returns
    -------
    SpecError
        With the dotted name of the field. Where it is not the only one, the sentence says so.
    """
    first = error.errors()[0]
    field = ".".join(str(part) for part in first["loc"]) or "design"
    need = _need(first, model)
    more = error.error_count() - 1
    if more:
        need += f" ({more} more to mend after this one)"
    kind = EntryError if _in_entry(first["loc"]) else SpecError
    return kind(field, _shown(first["input"]), need)


def _in_entry(loc: tuple[str | int, ...]) -> bool:
    """Return whether a location lies in a list of tables, which are named in the plural."""
    pairs = pairwise(loc)
    return any(isinstance(here, int) and str(name).endswith("s") for name, here in pairs)


def _need(first: Any, model: type[BaseModel]) -> str:  # noqa: ANN401 (pydantic's ErrorDetails)
    if first["type"] == "extra_forbidden":
        return _unknown_key(first["loc"], model)
    if first["type"] == "string_pattern_mismatch" and first["loc"][-1] == "ratio":
        return "must be crust to filling such as 3:7"
    sentence = NEEDS.get(first["type"])
    if sentence is None:
        return str(first["msg"])
    return sentence.format(unit=_unit(first["loc"], model), **first.get("ctx", {}))


def _unknown_key(loc: tuple[str | int, ...], model: type[BaseModel]) -> str:
    table = table_at(loc[:-1], model)
    names = list(table.model_fields) if table else []
    near = get_close_matches(str(loc[-1]), names, n=1, cutoff=0.0)
    return f"is not a known key; the nearest is {near[0]}" if near else "is not a known key"


def _unit(loc: tuple[str | int, ...], model: type[BaseModel]) -> str:
    table = table_at(loc[:-1], model)
    field = table.model_fields.get(str(loc[-1])) if table and loc else None
    extra = field.json_schema_extra if field else None
    unit = extra.get("unit") if isinstance(extra, dict) else None
    return f" {unit}" if unit else ""


def table_at(loc: Iterable[str | int], model: type[BaseModel]) -> type[BaseModel] | None:
    """Return the model at a location, following nested tables and lists of tables.

    Parameters
    ----------
    loc : iterable of str or int
        Keys, and places in lists.
    model : type of BaseModel
        Where it starts.

    Returns
    -------
    type of BaseModel or None
        None where no table is there.
    """
    here: type[BaseModel] | None = model
    for part in loc:
        if isinstance(part, int):
            continue
        field = here.model_fields.get(part) if here else None
        here = _model_in(field.annotation) if field else None
    return here


def _model_in(annotation: Any) -> type[BaseModel] | None:  # noqa: ANN401 (any type annotation)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inner = (_model_in(part) for part in getattr(annotation, "__args__", ()))
    return next((found for found in inner if found), None)


def _shown(value: object) -> object:
    """Return the value as given; a whole table, or an endless number, is no part of a sentence."""
    if isinstance(value, dict | BaseModel):
        return TABLE
    return value if len(str(value)) <= MOST_SHOWN else f"{str(value)[:20]}..."
