"""What stands in the form, right or wrong, the last design that was right.

The fields that a schema asks for.
"""

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from pydantic import BaseModel

from moulddesign.core import MouldError
from moulddesign.design import ONLY_FOR, SIZES, SOURCES, Kind, of_kind

Plain = dict[str, Any]

STEPS: Final = ((2.0, 0.05), (10.0, 0.1), (40.0, 0.5), (float("inf"), 1.0))
"""Up to which default an arrow key changes a number by how much."""

KINDS: Final = {"number": "number", "integer": "whole", "boolean": "yes", "string": "text"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One thing that a form asks for.

    Parameters
    ----------
    name : str
        Its key in the table.
    path : str
        Dotted keys from the root, without the numbers of list entries.
    kind : str
        `number`, `whole`, `yes`, `text`, `choice`, `date`, `numbers` or `rows`.
    says, unit : str
        As the schema has them.
    optional : bool
        Whether it may be left out.
    default : object
        What it is where nothing else is said.
    limits : mapping of str to float
        The schema's minimum, exclusiveMinimum, maximum, exclusiveMaximum.
    choices : tuple of str
        The words that a choice takes.
    fields : tuple of Field
        Of each entry, where it is a list of tables.
    main : bool
        Whether it is asked for at once, or among the further fields.
    lines : bool
        Whether the text may have several lines.
    file : str
        What kind of file it may name; empty where none.
    kinds : tuple of str
        Of its table, where that is a union told apart by `kind`: those that have the field. Empty
        where all have it.
    """

    name: str
    path: str
    kind: str
    says: str
    unit: str
    optional: bool
    default: Any
    limits: Mapping[str, float]
    choices: tuple[str, ...] = ()
    fields: tuple["Field", ...] = ()
    main: bool = False
    lines: bool = False
    file: str = ""
    kinds: tuple[str, ...] = ()

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
class Section:
    """Fields that belong together: a table of the design file.

    Parameters
    ----------
    name : str
        The table's key; empty for keys outside any table.
    fields : tuple of Field
        In the schema's order.
    """

    name: str
    fields: tuple[Field, ...]


def sections(schema: Mapping[str, Any]) -> tuple[Section, ...]:
    """Return the tables of a schema with their fields, in its order.

    Keys outside any table, one after the other, are a section without a name.

    Parameters
    ----------
    schema : mapping
        What pydantic's `model_json_schema` returns.

    Examples
    --------
    >>> from moulddesign.design import Design
    >>> [section.name for section in sections(Design.model_json_schema())][:3]
    ['', 'portion', 'pastry']
    """
    known = schema.get("$defs", {})
    found: list[Section] = []
    for name, what in schema["properties"].items():
        table = _table(what, known)
        if "oneOf" in what:
            found.append(Section(name=name, fields=_of_any_kind(what["oneOf"], name, known)))
            continue
        if table is not None:
            found.append(Section(name=name, fields=_fields(table, name, known)))
            continue
        before = found.pop().fields if found and not found[-1].name else ()
        found.append(Section(name="", fields=(*before, _field(name, what, known))))
    return tuple(found)


def every_field(found: tuple[Section, ...]) -> tuple[Field, ...]:
    """Return all fields of all sections, those of list entries included."""
    return tuple(f for section in found for f in _with_inner(section.fields))


def _with_inner(fields: tuple[Field, ...]) -> tuple[Field, ...]:
    return tuple(f for field in fields for f in (field, *_with_inner(field.fields)))


def _fields(table: Mapping[str, Any], path: str, known: Plain) -> tuple[Field, ...]:
    return tuple(
        _field(f"{path}.{name}", what, known) for name, what in table["properties"].items()
    )


def _of_any_kind(tables: Iterable[Mapping[str, Any]], path: str, known: Plain) -> tuple[Field, ...]:
    """Return the fields of a union of tables, the kind first, each with the kinds that have it."""
    by_kind = {f["kind"].choices[0]: f for f in (_by_name(t, path, known) for t in tables)}
    named: dict[tuple[str, str], list[str]] = {}
    for kind, fields in by_kind.items():
        for name, field in fields.items():
            named.setdefault((name, field.says), []).append(kind)
    made = []
    for (name, _), kinds in named.items():
        field = by_kind[kinds[0]][name]
        if name == "kind":
            made.append(replace(field, choices=tuple(kinds)))
        else:
            made.append(replace(field, kinds=() if len(kinds) == len(by_kind) else tuple(kinds)))
    return tuple(made)


def _by_name(what: Mapping[str, Any], path: str, known: Plain) -> dict[str, Field]:
    return {field.name: field for field in _fields(_resolved(what, known), path, known)}


def _field(path: str, what: Mapping[str, Any], known: Plain) -> Field:
    inner, optional = _without_null(what)
    inner = _resolved(inner, known)
    plain = Field(
        name=path.rpartition(".")[2],
        path=path,
        kind=KINDS.get(inner.get("type", ""), "text"),
        says=what.get("description", ""),
        unit=what.get("unit", ""),
        optional=optional,
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


def _list(plain: Field, inner: Mapping[str, Any], known: Plain) -> Field:
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
"""Changes that can be taken back."""


def read(field: Field, typed: object) -> object:
    """Return what was typed into a field as the value that a design file would hold.

    Parameters
    ----------
    field : Field
        Which field.
    typed : str or bool
        What the form holds.

    Returns
    -------
    object
        None where it is left empty and may be. What cannot be read stays text, for the model to
        refuse with its own sentence.

    Examples
    --------
    >>> from moulddesign.design import Design
    >>> from moulddesign.page.draft import sections
    >>> weight = sections(Design.model_json_schema())[1].fields[0]
    >>> read(weight, " 80,5 ")
    80.5
    """
    if field.kind == "yes" or not isinstance(typed, str):
        return bool(typed)
    text = typed if field.kind in {"text", "lines"} else typed.strip()
    if not text and (field.optional or field.kind in {"choice", "date"}):
        return None
    if field.kind == "number":
        return _number(text)
    if field.kind == "whole":
        number = _number(text)
        whole = isinstance(number, float) and number.is_integer()
        return int(number) if whole else number
    if field.kind == "numbers":
        return [_number(part) for part in text.replace("x", " ").replace(";", " ").split()]
    return text


def _number(text: str) -> float | str:
    plain = text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
    try:
        return float(plain)
    except ValueError:
        return text


class Draft:
    """The form's values as a tree, with the way back and forth.

    Parameters
    ----------
    tree : dict
        Nested plain values.
    model : type of BaseModel
        What they shall become.
    """

    def __init__(self, tree: Tree, model: type[BaseModel]) -> None:
        self.tree = tree
        self.model = model
        self._back: list[Tree] = []
        self._forth: list[Tree] = []

    @property
    def can_go_back(self) -> bool:
        """Whether there is a change to take back."""
        return bool(self._back)

    @property
    def can_go_forth(self) -> bool:
        """Whether there is a change to make again."""
        return bool(self._forth)

    def back(self) -> None:
        """Take the last change back."""
        self._forth.append(self.tree)
        self.tree = self._back.pop()

    def forth(self) -> None:
        """Make the change that was taken back again."""
        self._back.append(self.tree)
        self.tree = self._forth.pop()

    def replace(self, tree: Tree) -> None:
        """Take another tree's values; the old ones can be had back."""
        if tree == self.tree:
            return
        self._back = [*self._back[-MOST_STEPS:], self.tree]
        self._forth = []
        self.tree = tree

    def put(self, path: str, value: object) -> None:
        """Set one value, or leave it out where it is None.

        A size takes the place of the other sizes, for with the weight only one is free.
        """
        tree = copied(self.tree)
        *way, key = path.split(".")
        table = reached(tree, way)
        if way == ["pastry"] and key in SIZES and value is not None:
            for size in SIZES:
                table.pop(size, None)
        if value is None:
            table.pop(key, None)
        else:
            table[key] = value
        self.replace(tree)

    def add(self, path: str, entry: Tree) -> None:
        """Add an entry to a list of tables."""
        tree = copied(self.tree)
        *way, key = path.split(".")
        reached(tree, way).setdefault(key, []).append(entry)
        self.replace(tree)

    def drop(self, path: str, place: int) -> None:
        """Take an entry out of a list of tables."""
        tree = copied(self.tree)
        *way, key = path.split(".")
        del reached(tree, way)[key][place]
        self.replace(tree)

    def turn(self, path: str, source: str, value: object) -> None:
        """Let a layer come from another source; what says something of the old one goes."""
        tree = copied(self.tree)
        layer = reached(tree, path.split("."))
        for name in (*SOURCES, *(n for n, of in ONLY_FOR.items() if of != source)):
            layer.pop(name, None)
        layer[source] = value
        self.replace(tree)


def counting(tree: Tree) -> Tree:
    """Return a design's values without those that only another kind of mould has.

    The form keeps them, for whoever turns back to that kind; the design does not.

    Examples
    --------
    >>> counting({"mould": {"kind": "block", "cavities": 2, "clearance_mm": 0.4}})
    {'mould': {'kind': 'block', 'cavities': 2}}
    """
    kind = tree.get("mould", {}).get("kind", Kind.PRESS.value)
    made = {key: of_kind(value, kind) if key == "mould" else value for key, value in tree.items()}
    if kind != Kind.PRESS:
        made.pop("further_stamps", None)
    return made


def reached(tree: Tree, way: list[str]) -> Any:  # noqa: ANN401 (a table of any values)
    """Return the table at the end of a way of keys and list places."""
    here: Any = tree
    for part in way:
        here = here[int(part)] if isinstance(here, list) else here.setdefault(part, {})
    return here


def copied(tree: Any) -> Any:  # noqa: ANN401 (any plain value)
    """Return nested plain values that share no table or list with the given ones."""
    if isinstance(tree, dict):
        return {key: copied(value) for key, value in tree.items()}
    return [copied(value) for value in tree] if isinstance(tree, list) else tree


def flat(tree: Mapping[str, Any], path: str = "") -> tuple[dict[str, Any], dict[str, int]]:
    """Return values by dotted path, and the length of each list of tables.

    Examples
    --------
    >>> flat({"a": {"b": 1}, "c": [{"d": 2}]})
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
            inner, more = flat(table, here + end)
            values |= inner
            counts |= more
    return values, counts


def at_field(error: MouldError, tree: Tree, fields: Container[str]) -> str | None:
    """Return which field of a form an error belongs to; None where none is meant.

    Parameters
    ----------
    error : MouldError
        Its field may lack the place in a list, or its table, or be an entry that has no field of
        its own; its file may be what a field names.
    tree : dict
        What stands in the form.
    fields : container of str
        Dotted paths that the form knows, without the places in lists.

    Examples
    --------
    >>> from moulddesign.core import FileError, SpecError
    >>> layers = {"relief": {"layers": [{"pattern": "own-1.svg"}]}}
    >>> at_field(FileError("own-1.svg", "is empty"), layers, ())
    'relief.layers.0.pattern'
    >>> at_field(SpecError("printer.bed_mm.1", "x", "must be a number"), {}, ("printer.bed_mm",))
    'printer.bed_mm'
    """
    values, counts = flat(tree)
    name = str(getattr(error, "field", getattr(error, "path", "")))
    path = name.rstrip(".0123456789")  # of an entry without a field of its own, its list
    if path in values or path in counts:
        return path
    placed = {without_places(path): path for path in (*values, *counts)}
    if path in placed or without_places(path) in fields:
        return placed.get(path, path)
    file = name.partition(":")[0]
    return next((path for path, value in values.items() if file and value == file), None)


def without_places(path: str) -> str:
    """Return a path without the places in lists, as the schema knows it."""
    return ".".join(part for part in path.split(".") if not part.isdigit())
