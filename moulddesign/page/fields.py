"""What a form asks for, read off a model's JSON Schema: no field is written down here."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

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
