"""The fields that a schema asks for, and a draft: what stands in a form, right or wrong."""

from collections.abc import Container, Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from math import isfinite
from typing import Any, Final

from pydantic import BaseModel

from moulddesign.core import SEVERAL, MouldError, SpecError, read_number
from moulddesign.design import ONLY_FOR, SIZES, SOURCES, Kind, of_kind
from moulddesign.design.services import left_behind

Plain = dict[str, Any]

STEPS: Final = ((2.0, 0.05), (10.0, 0.1), (40.0, 0.5), (float("inf"), 1.0))
"""Up to which default an arrow key changes a number by how much."""

FIELD_KINDS: Final = {"number": "number", "integer": "whole", "boolean": "yes", "string": "text"}


@dataclass(frozen=True, slots=True, kw_only=True)
class FormField:
    """One thing that a form asks for."""

    name: str
    """Its key in the table."""
    path: str
    """Dotted keys from the root, without the numbers of list entries."""
    kind: str
    """`number`, `whole`, `yes`, `text`, `choice`, `date`, `numbers` or `rows`."""
    description: str
    unit: str
    optional: bool
    default: Any
    limits: Mapping[str, float]
    """The schema's minimum, exclusiveMinimum, maximum, exclusiveMaximum."""
    choices: tuple[str, ...] = ()
    fields: tuple["FormField", ...] = ()
    """Of each entry, where it is a list of tables."""
    main: bool = False
    """Whether it is asked for at once, or among the advanced fields."""
    lines: bool = False
    """Whether the text may have several lines."""
    file: str = ""
    """What kind of file it may name; empty where none."""
    kinds: tuple[str, ...] = ()
    """Of a table that is a union told apart by `kind`: which kinds have it; empty for all."""
    only: tuple[tuple[str, tuple[Any, ...]], ...] = ()
    """Fields beside it, each with the values under which it is shown."""

    @property
    def step(self) -> float | None:
        """How much an arrow key changes it; None where it is no number."""
        if self.kind == "whole":
            return 1.0
        if self.kind != "number":
            return None
        size = abs(float(self.default or 0.0)) or min(self.limits.get("maximum", 10.0), 10.0)
        return next(step for most, step in STEPS if size <= most)


@dataclass(frozen=True, slots=True, kw_only=True)
class FormSection:
    """Fields that belong together: a table of the design file."""

    name: str
    """The table's key; empty for keys outside any table."""
    fields: tuple[FormField, ...]


def form_sections(schema: Mapping[str, Any]) -> tuple[FormSection, ...]:
    """Return the tables of a schema with their fields, in its order.

    Keys outside any table, one after the other, are a section without a name.

    Examples
    --------
    >>> from moulddesign.design import Design
    >>> [section.name for section in form_sections(Design.model_json_schema())][:3]
    ['', 'portion', 'dough']
    """
    known = schema.get("$defs", {})
    found: list[FormSection] = []
    for name, what in schema["properties"].items():
        table = _table(what, known)
        if "oneOf" in what:
            found.append(FormSection(name=name, fields=_of_any_kind(what["oneOf"], name, known)))
            continue
        if table is not None:
            found.append(FormSection(name=name, fields=_fields(table, name, known)))
            continue
        before = found.pop().fields if found and not found[-1].name else ()
        found.append(FormSection(name="", fields=(*before, _field(name, what, known))))
    return tuple(found)


def all_fields(found: tuple[FormSection, ...]) -> tuple[FormField, ...]:
    """Return all fields of all sections, those of list entries included."""
    return tuple(f for section in found for f in _with_inner(section.fields))


def _with_inner(fields: tuple[FormField, ...]) -> tuple[FormField, ...]:
    return tuple(f for field in fields for f in (field, *_with_inner(field.fields)))


def _fields(table: Mapping[str, Any], path: str, known: Plain) -> tuple[FormField, ...]:
    return tuple(
        _field(f"{path}.{name}", what, known) for name, what in table["properties"].items()
    )


def _of_any_kind(
    tables: Iterable[Mapping[str, Any]], path: str, known: Plain
) -> tuple[FormField, ...]:
    """Return the fields of a union of tables, the kind first, each with the kinds that have it."""
    by_kind = {f["kind"].choices[0]: f for f in (_by_name(t, path, known) for t in tables)}
    named: dict[tuple[str, str], list[str]] = {}
    for kind, fields in by_kind.items():
        for name, field in fields.items():
            named.setdefault((name, field.description), []).append(kind)
    made = []
    for (name, _), kinds in named.items():
        field = by_kind[kinds[0]][name]
        if name == "kind":
            made.append(replace(field, choices=tuple(kinds)))
        else:
            made.append(replace(field, kinds=() if len(kinds) == len(by_kind) else tuple(kinds)))
    return tuple(made)


def _by_name(what: Mapping[str, Any], path: str, known: Plain) -> dict[str, FormField]:
    return {field.name: field for field in _fields(_resolved(what, known), path, known)}


def _field(path: str, what: Mapping[str, Any], known: Plain) -> FormField:
    inner, optional = _without_null(what)
    inner = _resolved(inner, known)
    plain = FormField(
        name=path.rpartition(".")[2],
        path=path,
        kind=FIELD_KINDS.get(inner.get("type", ""), "text"),
        description=what.get("description", ""),
        unit=what.get("unit", ""),
        optional=optional or ("default" in what and what["default"] is None),
        default=what.get("default"),
        main=what.get("main", False),
        lines=what.get("lines", False),
        file=what.get("file", ""),
        limits={k: v for k, v in inner.items() if k.lower().endswith(("minimum", "maximum"))},
    )
    if "enum" in inner:
        return replace(plain, kind="choice", choices=tuple(inner["enum"]))
    if "const" in inner:
        return replace(plain, kind="choice", choices=(inner["const"],))
    if inner.get("format") == "date":
        return replace(plain, kind="date")
    if inner.get("type") == "array":
        return _list(plain, inner, known)
    return plain


def _list(plain: FormField, inner: Mapping[str, Any], known: Plain) -> FormField:
    table = _table(inner.get("items", {}), known)
    if table is None:
        return replace(plain, kind="numbers")
    return replace(plain, kind="rows", fields=_fields(table, plain.path, known))


def _table(what: Mapping[str, Any], known: Plain) -> Plain | None:
    inner = _resolved(what, known)
    return dict(inner) if "properties" in inner else None


def _without_null(what: Mapping[str, Any]) -> tuple[Mapping[str, Any], bool]:
    either = what.get("anyOf", ())
    given = [one for one in either if one.get("type") != "null"]
    return (given[0], len(given) < len(either)) if given else (what, False)


def _resolved(what: Mapping[str, Any], known: Plain) -> Mapping[str, Any]:
    name = str(what.get("$ref", "")).rpartition("/")[2]
    return known[name] | dict(what) if name else what


Tree = dict[str, Any]

MOST_STEPS: Final = 200
"""Changes that can be undone."""


def parse_input(field: FormField, typed: object) -> object:
    """Return what was typed into a field as the value that a design file would hold.

    None where it is left empty and may be. What cannot be read stays text, for the model to refuse
    with its own sentence.

    Examples
    --------
    >>> from moulddesign.design import Design
    >>> from moulddesign.page.draft import form_sections
    >>> weight = form_sections(Design.model_json_schema())[1].fields[0]
    >>> parse_input(weight, " 80,5 ")
    80.5
    """
    if field.kind == "yes" or not isinstance(typed, str):
        return bool(typed)
    text = typed if field.kind in {"text", "lines"} else typed.strip()
    if not text and (field.optional or field.kind in {"choice", "date"}):
        return None
    if field.kind == "number":
        return _number(field, text)
    if field.kind == "whole":
        number = _number(field, text)
        whole = isinstance(number, float) and number.is_integer()
        return int(number) if whole else number
    if field.kind == "numbers":
        return [_number(field, part) for part in SEVERAL.split(text)] if text else []
    return text


SHOWN_DIGITS: Final = ((100.0, 1), (10.0, 2), (1.0, 3), (0.0, 4))
"""From which number on a field shows how many decimals; finer is no digit that anybody weighs."""


def as_shown(value: object) -> object:
    """Return a value as a field shows it: numbers of computing are rounded, several each.

    Examples
    --------
    >>> as_shown(73.129347), as_shown(0.05), as_shown([0.1 + 0.2, 250.0]), as_shown("3:7")
    (73.13, 0.05, [0.3, 250.0], '3:7')
    """
    if isinstance(value, list | tuple):
        return [as_shown(one) for one in value]
    if not isinstance(value, float) or not isfinite(value):
        return value
    return round(value, next(digits for least, digits in SHOWN_DIGITS if abs(value) >= least))


def _number(field: FormField, text: str) -> float | str:
    try:
        return read_number(field.path, text, field.unit)
    except SpecError:
        return text


class Draft:
    """The form's values as a tree, with undo and redo."""

    def __init__(self, tree: Tree, model: type[BaseModel]) -> None:
        self.tree = tree
        self.model = model
        """What the values are checked against."""
        self._undo_steps: list[Tree] = []
        self._redo_steps: list[Tree] = []

    @property
    def can_undo(self) -> bool:
        """Whether there is a change to undo."""
        return bool(self._undo_steps)

    @property
    def can_redo(self) -> bool:
        """Whether there is a change to redo."""
        return bool(self._redo_steps)

    def undo(self) -> None:
        """Undo the last change."""
        self._redo_steps.append(self.tree)
        self.tree = self._undo_steps.pop()

    def redo(self) -> None:
        """Redo the change that was undone last."""
        self._undo_steps.append(self.tree)
        self.tree = self._redo_steps.pop()

    def replace(self, tree: Tree) -> None:
        """Take another tree's values; that can be undone."""
        if tree == self.tree:
            return
        self._undo_steps = [*self._undo_steps[-MOST_STEPS:], self.tree]
        self._redo_steps = []
        self.tree = tree

    def set_value(self, path: str, value: object) -> None:
        """Set one value, or leave it out where it is None.

        A size takes the place of the other sizes, for with the weight only one is free. Another
        printer leaves behind what tells of the one before.
        """
        tree = deepcopy(self.tree)
        *way, key = path.split(".")
        table = table_at(tree, way)
        if way == ["pastry"] and key in SIZES and value is not None:
            for size in SIZES:
                table.pop(size, None)
        if path == "printer.machine":
            for name in left_behind(table.get(key), value):
                table.pop(name, None)
        if value is None:
            table.pop(key, None)
        else:
            table[key] = value
        if path in tree.get("from_workshop", ()):  # it is one's own from now on
            tree["from_workshop"] = [each for each in tree["from_workshop"] if each != path]
        self.replace(tree)

    def add(self, path: str, entry: Tree) -> None:
        """Add an entry to a list of tables."""
        tree = deepcopy(self.tree)
        *way, key = path.split(".")
        table_at(tree, way).setdefault(key, []).append(entry)
        self.replace(tree)

    def remove(self, path: str, place: int) -> None:
        """Remove an entry from a list of tables."""
        tree = deepcopy(self.tree)
        *way, key = path.split(".")
        del table_at(tree, way)[key][place]
        self.replace(tree)


def with_source(tree: Tree, path: str, source: str, value: object) -> Tree:
    """Return values in which a layer has another source, without keys that only the old one has."""
    made = deepcopy(tree)
    layer = table_at(made, path.split("."))
    for name in (*SOURCES, *(n for n, of in ONLY_FOR.items() if of != source)):
        layer.pop(name, None)
    layer[source] = value
    return made


def values_of_kind(tree: Tree) -> Tree:
    """Return a design's values without those that only another kind of mould has.

    The form keeps them, for when that kind is chosen again; the design does not.

    Examples
    --------
    >>> values_of_kind({"mould": {"kind": "block", "cavities": 2, "clearance_mm": 0.4}})
    {'mould': {'kind': 'block', 'cavities': 2}}
    """
    kind = tree.get("mould", {}).get("kind", Kind.PRESS.value)
    made = {key: of_kind(value, kind) if key == "mould" else value for key, value in tree.items()}
    if kind != Kind.PRESS:
        made.pop("further_stamps", None)
    return made


def table_at(tree: Tree, way: list[str]) -> Any:  # noqa: ANN401 (a table of any values)
    """Return the table that a path of keys and list indexes leads to."""
    here: Any = tree
    for part in way:
        here = here[int(part)] if isinstance(here, list) else here.setdefault(part, {})
    return here


def flattened(tree: Mapping[str, Any], path: str = "") -> tuple[dict[str, Any], dict[str, int]]:
    """Return values by dotted path, and the length of each list of tables.

    Examples
    --------
    >>> flattened({"a": {"b": 1}, "c": [{"d": 2}]})
    ({'a.b': 1, 'c.0.d': 2}, {'c': 1})
    """
    values: dict[str, Any] = {}
    counts: dict[str, int] = {}
    for key, value in tree.items():
        here = f"{path}.{key}" if path else key
        tables = [("", value)] if isinstance(value, dict) else []
        if isinstance(value, list) and all(isinstance(one, dict) for one in value):
            counts[here] = len(value)
            tables = [(f".{place}", one) for place, one in enumerate(value)]
        elif not tables:
            values[here] = value
        for end, table in tables:
            inner, more = flattened(table, here + end)
            values |= inner
            counts |= more
    return values, counts


def field_of_error(error: MouldError, tree: Tree, fields: Container[str]) -> str | None:
    """Return which field of a form an error belongs to; None where none is meant.

    The error's field may lack the place in a list, or its table, or be an entry that has no field
    of its own; its file may be what a field names. `fields` are the dotted paths that the form
    knows, without list indexes.

    Examples
    --------
    >>> from moulddesign.core import FileError, SpecError, say
    >>> layers = {"relief": {"layers": [{"pattern": "own-1.svg"}]}}
    >>> field_of_error(FileError("own-1.svg", say("core.empty")), layers, ())
    'relief.layers.0.pattern'
    >>> wrong = SpecError("printer.bed_mm.1", "x", say("core.number"))
    >>> field_of_error(wrong, {}, ("printer.bed_mm",))
    'printer.bed_mm'
    """
    values, counts = flattened(tree)
    name = str(getattr(error, "field", getattr(error, "path", "")))
    path = name.rstrip(".0123456789")  # of an entry without a field of its own, its list
    if path in values or path in counts:
        return path
    placed = {without_indexes(path): path for path in (*values, *counts)}
    if path in placed or without_indexes(path) in fields:
        return placed.get(path, path)
    file = name.partition(":")[0]
    return next((path for path, value in values.items() if file and value == file), None)


def without_indexes(path: str) -> str:
    """Return a path without list indexes, as the schema knows it."""
    return ".".join(part for part in path.split(".") if not part.isdigit())
