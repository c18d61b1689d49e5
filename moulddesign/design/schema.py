"""How a field of the design is declared, and pydantic's errors about it as sentences."""

import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from functools import cache
from itertools import pairwise
from re import findall
from types import NoneType, UnionType
from typing import Any, Final, Self, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator
from pydantic.fields import FieldInfo

from moulddesign.core import Message, SpecError, either, read_number, read_numbers, say, word
from moulddesign.core.limits import MOST_MISTAKES
from moulddesign.core.quantities import MOST_SHOWN

TRADE: Final = "common practice, no source"
MEMORY: Final = "from memory, measure your own"
CHOICE: Final = "our choice, change it freely"


class FileKind(StrEnum):
    """What kind of file a field may name."""

    OUTLINE = "outline"
    """A drawing of one closed shape; other words are names of outlines."""
    ARTWORK = "artwork"
    """A drawing or picture; other words are names of patterns."""
    CARVING = "carving"
    """A grey picture as heights, or a mesh seen from above."""
    FONT = "font"
    LIBRARY = "library"
    """Printers and materials."""
    RECIPE = "recipe"
    MESH = "mesh"
    PHOTO = "photo"
    MOULDS = "moulds"


class Table(BaseModel):
    """A frozen table of the design file that refuses unknown keys."""

    # A table's validator is built when it is first needed: most are parts of another's only.
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, defer_build=True)

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

    @model_validator(mode="before")
    @classmethod
    def _as_typed(cls, values: object) -> object:
        """Read text where a field takes numbers: "68 g", "2,5", "2 %"."""
        if not isinstance(values, Mapping):
            return values
        fields = cls.model_fields
        return {
            key: _as_numbers(value, _numbers_in(cls, key)) if key in fields else value
            for key, value in values.items()
        }

    def plain(self) -> dict[str, Any]:
        """Return nested plain values, without the keys that are not given."""
        return self.model_dump(mode="json", exclude_none=True)


def given(  # noqa: PLR0913 (what is said of a field)
    default: Any,  # noqa: ANN401 (pydantic's Field is typed so)
    says: str,
    *,
    unit: str = "",
    source: str = CHOICE,
    main: bool = False,
    lines: bool = False,
    file: FileKind | None = None,
    **limits: Any,  # noqa: ANN401 (pydantic's own)
) -> Any:  # noqa: ANN401 (the same)
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
    main : bool
        Whether a form asks for it at once, or among the further fields.
    lines : bool
        Whether the text may have several lines.
    file : FileKind, optional
        What kind of file it may name.
    **limits : float or str
        pydantic's limits: `gt`, `ge`, `lt`, `le`, `min_length`, `max_length`, `pattern`.

    Returns
    -------
    pydantic.fields.FieldInfo
        Ready to stand beside an annotation. Numbers may be text as people type them, but no truth
        value.
    """
    extra: dict[str, Any] = {"unit": unit, "source": source}
    if main:
        extra["main"] = True
    if lines:
        extra["lines"] = True
    if file is not None:
        extra["file"] = file.value
    return Field(
        default,
        description=says,
        strict=True if {"gt", "ge", "lt", "le"} & limits.keys() else None,
        json_schema_extra=extra,
        **limits,
    )


def said_of(field: FieldInfo, name: str) -> Any:  # noqa: ANN401 (per name)
    """Return what `given` was told of a field: `unit`, `source`, `main`, `lines` or `file`."""
    extra = field.json_schema_extra
    return extra.get(name) if isinstance(extra, dict) else None


def takes_numbers(field: FieldInfo) -> bool:
    """Return whether a field takes numbers and nothing else: one, none, or a list of them."""
    kinds = set(_leaves(field.annotation))
    return bool(kinds & {int, float}) and kinds <= {int, float, NoneType, Ellipsis}


def _leaves(annotation: Any) -> Iterator[Any]:  # noqa: ANN401 (any type annotation)
    parts = get_args(annotation)
    if get_origin(annotation) not in {Union, UnionType, tuple}:
        yield annotation
    for part in parts:
        yield from _leaves(part)


@dataclass(frozen=True, slots=True)
class Numbers:
    """What a field takes that takes numbers and nothing else."""

    unit: str
    is_list: bool
    is_whole: bool


@cache
def _numbers_in(table: type[BaseModel], key: str) -> Numbers | None:
    """Return what numbers a key of a table takes; None where it takes something else."""
    field = table.model_fields[key]
    if not takes_numbers(field):
        return None
    return Numbers(
        unit=said_of(field, "unit") or "",
        is_list=get_origin(field.annotation) is tuple,
        is_whole=float not in set(_leaves(field.annotation)),
    )


def _as_numbers(value: object, asked: Numbers | None) -> object:
    """Return the numbers that text holds; what holds none is left for the field to refuse."""
    if asked is not None and asked.is_list and isinstance(value, list | tuple):
        return [_number_of(each, asked.unit) for each in value]
    if asked is None or not isinstance(value, str):
        return value
    if asked.is_list:
        try:
            return read_numbers("", value, asked.unit)
        except SpecError:
            return value
    number = _number_of(value, asked.unit)
    if asked.is_whole and isinstance(number, float) and number % 1 == 0:
        return int(number)
    return number


def _number_of(value: object, unit: str) -> object:
    if not isinstance(value, str):
        return value
    try:
        return read_number("", value, unit)
    except SpecError:
        return value


Key = str | int
"""A key of a table, or an entry of a list counted from 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a value stands in a model."""

    keys: tuple[Key, ...]
    """Without the kinds that pydantic puts among them where a table is one of several."""
    tables: tuple[type[BaseModel], ...]
    """Those that its last key may lie in: several where a table's kind is not known."""
    siblings: tuple[type[BaseModel], ...]
    """Those that its last key would lie in if the table were of another kind."""

    @property
    def field(self) -> FieldInfo | None:
        """The field; None where no table has that key."""
        name = str(self.keys[-1]) if self.keys else ""
        return next((t.model_fields[name] for t in self.tables if name in t.model_fields), None)


def place_of(loc: Sequence[Key], model: type[BaseModel]) -> Place:
    """Return where a value stands, following nested tables, lists of tables and kinds.

    Parameters
    ----------
    loc : sequence of str or int
        Keys, entries of lists, and kinds as pydantic puts them.
    model : type of BaseModel
        Where it starts.
    """
    keys: list[Key] = []
    here: tuple[type[BaseModel], ...] = (model,)
    siblings = here
    last = (here, siblings)
    for key in loc:
        narrowed = tuple(t for t in here if kind_of(t) == key) if len(here) > 1 else ()
        if narrowed:
            here = narrowed
            continue
        keys.append(key)
        if isinstance(key, int):
            continue
        last = (here, siblings)
        fields = [t.model_fields[key] for t in here if key in t.model_fields]
        here = siblings = tuple(t for f in fields[:1] for t in tables_in(f.annotation))
    return Place(keys=tuple(keys), tables=last[0], siblings=last[1])


def tables_in(annotation: Any) -> Iterator[type[BaseModel]]:  # noqa: ANN401 (any type annotation)
    """Yield the models in a type: itself, those of a union or of a list."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    else:
        for part in getattr(annotation, "__args__", ()):
            yield from tables_in(part)


def kind_of(table: type[BaseModel]) -> str | None:
    """Return which kind a table is of, where it is one of several; else None."""
    field = table.model_fields.get("kind")
    return None if field is None else str(field.default)


class RefusedError(ValueError):
    """What a validator finds wrong with a value; `spec_error` names the field."""

    def __init__(self, need: Message, error: SpecError | None = None) -> None:
        super().__init__(need)
        self.need = need
        self.error = error
        """Names a field of the table that a validator of the whole table refuses."""

    @classmethod
    def of(cls, error: SpecError) -> Self:
        """Return what a validator of a whole table raises for one of its fields."""
        need = error.need
        return cls(need if isinstance(need, Message) else say("design.other", reason=need), error)


def as_file_name(name: str) -> str:
    """Return a name that files or a folder are called by, or refuse it in a validator."""
    bad = sorted({c for c in name if c in '/\\:*?"<>|' or not c.isprintable()})
    if bad:
        raise RefusedError(say("design.letters-of-a-file-name", letters=" ".join(map(repr, bad))))
    if not name.strip(". ") or name != name.strip() or name.endswith("."):
        raise RefusedError(say("design.ends-of-a-file-name"))
    return name


def as_one_line(name: str) -> str:
    """Return a name that is printed in a line, or refuse it in a validator."""
    # Line and paragraph separators, and control characters; joiners inside a word are none.
    if any(unicodedata.category(letter) in {"Cc", "Zl", "Zp"} for letter in name):
        raise RefusedError(say("design.one-line"))
    if not name.strip():
        raise RefusedError(say("design.empty"))
    return name


TABLE: Final = "(a table)"
"""Stands for a whole table as a value."""

ORDINALS: Final = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")

NEEDS: Final[Mapping[str, Message]] = {
    "finite_number": say("design.finite"),
    "float_type": say("design.number"),
    "float_parsing": say("design.number"),
    "int_type": say("design.whole-number"),
    "int_parsing": say("design.whole-number"),
    "int_from_float": say("design.whole"),
    "bool_type": say("design.true-or-false"),
    "bool_parsing": say("design.true-or-false"),
    "string_type": say("design.text"),
    "string_too_short": say("design.empty"),
    "missing": say("design.missing"),
    "tuple_type": say("design.list"),
    "model_type": say("design.table"),
    "model_attributes_type": say("design.table"),
}
"""What each kind of pydantic error asks for."""

UNREAD: Final = frozenset({"float_type", "float_parsing", "int_type", "int_parsing", "tuple_type"})
"""Kinds of pydantic errors about text where numbers belong."""

LIMITS: Final[Mapping[str, Callable[[Mapping[str, Any], str], Message]]] = {
    "greater_than": lambda told, unit: say("design.above", limit=told["gt"], unit=unit),
    "greater_than_equal": lambda told, unit: say("design.at-least", limit=told["ge"], unit=unit),
    "less_than": lambda told, unit: say("design.below", limit=told["lt"], unit=unit),
    "less_than_equal": lambda told, unit: say("design.at-most", limit=told["le"], unit=unit),
    "string_too_long": lambda told, _: say("design.long-text", most=told["max_length"]),
    "too_short": lambda told, _: say("design.short-list", least=told["min_length"]),
    "too_long": lambda told, _: say("design.long-list", most=told["max_length"]),
    "enum": lambda told, _: say("design.one-of", choices=_quoted(told["expected"])),
    "literal_error": lambda told, _: say("design.one-of", choices=_quoted(told["expected"])),
    "union_tag_invalid": lambda told, _: say(
        "design.one-of", choices=_quoted(told["expected_tags"])
    ),
    "value_error": lambda told, _: _refused(told["error"]),
}
"""The same where pydantic tells a figure with it; the second argument is the field's unit."""


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
    first, *more = spec_errors(error, model)
    if not more:
        return first
    need = say("design.and-more", need=first.need, count=len(more))
    return type(first)(first.field, first.value, need)


def spec_errors(error: ValidationError, model: type[BaseModel]) -> tuple[SpecError, ...]:
    """Return all that a validation found wrong; see `spec_error`."""
    every = error.errors(include_url=False)[:MOST_MISTAKES]
    # A list counts as too short without the entries that were refused: they are said already.
    entries = {each["loc"][:-1] for each in every} | {each["loc"][:-2] for each in every}
    return tuple(
        _spec_error(each, model)
        for each in every
        if each["type"] != "too_short" or each["loc"] not in entries
    )


def _spec_error(found: Any, model: type[BaseModel]) -> SpecError:  # noqa: ANN401 (pydantic's ErrorDetails)
    loc, value = found["loc"], found["input"]
    if found["type"] == "union_tag_invalid":
        loc, value = (*loc, "kind"), value["kind"]
    place = place_of(loc, model)
    keys, need = place.keys, _need(found, place)
    cause = found.get("ctx", {}).get("error")
    if isinstance(cause, RefusedError) and cause.error is not None:
        keys = (*keys, *keys_of_field(cause.error.field))
        value, need = cause.error.value, cause.need
    kind = EntryError if _in_entry(keys) else SpecError
    # What lacks it is a whole table.
    shown = "not given" if found["type"] == "missing" and kind is SpecError else _shown(value)
    return kind(".".join(map(str, keys)) or "design", shown, need)


def keys_of_field(field: str) -> tuple[Key, ...]:
    """Return the keys of a dotted name, entries of lists counted from 0.

    Examples
    --------
    >>> keys_of_field("relief.layers.0.pattern")
    ('relief', 'layers', 0, 'pattern')
    """
    return tuple(int(key) if key.isdecimal() else key for key in field.split("."))


def _in_entry(keys: Sequence[Key]) -> bool:
    """Return whether keys lead into a list of tables: named in the plural, or a shelf's."""
    pairs = pairwise(keys)
    return any(
        isinstance(here, int) and (str(name).endswith("s") or name == "mould")
        for name, here in pairs
    )


def _need(first: Any, place: Place) -> Message:  # noqa: ANN401 (pydantic's ErrorDetails)
    kind = first["type"]
    if kind == "extra_forbidden":
        return _unknown_key(place)
    unit = (said_of(place.field, "unit") if place.field is not None else None) or ""
    if kind in UNREAD and isinstance(first["input"], str):
        return _unread(first["input"], unit, kind)
    if kind in NEEDS:
        return NEEDS[kind]
    if kind in LIMITS:
        return LIMITS[kind](first.get("ctx", {}), f" {unit}" if unit else "")
    return say("design.other", reason=first["msg"])


def _unread(text: str, unit: str, kind: str) -> Message:
    """Return why text is no number of a unit, or no list of them."""
    try:
        (read_numbers if kind == "tuple_type" else read_number)("", text, unit)
    except SpecError as error:
        return RefusedError.of(error).need
    return NEEDS[kind]


def _unknown_key(place: Place) -> Message:
    """Return what to do about a key that no table has, or only a table of another kind."""
    key = str(place.keys[-1])
    if any(key in getattr(table, "retired_keys", ()) for table in place.tables):
        return say("design.retired-key")
    others = [kind_of(table) for table in place.siblings if key in table.model_fields]
    if others:
        kinds = either([word(str(kind)) for kind in others])
        return say("design.foreign-key", kinds=kinds, kind=word(str(kind_of(place.tables[0]))))
    names = [name for table in place.tables for name in table.model_fields]
    near = get_close_matches(key, names, n=1, cutoff=0.0)
    if near:
        return say("design.unknown-key", near=near[0])
    return say("design.unknown-key-of-none")


def _quoted(told: str) -> tuple[str, ...]:
    """Return the words in quotes that pydantic lists."""
    return tuple(findall("'([^']*)'", told))


def _refused(error: ValueError) -> Message:
    return error.need if isinstance(error, RefusedError) else say("design.other", reason=str(error))


def _shown(value: object) -> object:
    """Return the value as given; a whole table, or an endless number, is no part of a sentence."""
    if isinstance(value, dict | BaseModel):
        return TABLE
    return value if len(str(value)) <= MOST_SHOWN else f"{str(value)[:20]}..."
