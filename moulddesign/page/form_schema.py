"""The form's description for the browser: fields of a schema in a language's words."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from moulddesign.design import ONLY_FOR, SOURCES, Kind
from moulddesign.design.services import SERVICE
from moulddesign.page.draft import FormField, FormSection
from moulddesign.page.texts import Texts
from moulddesign.page.uploads import UPLOAD_KINDS

RADIOS: Final = frozenset({"way"})
"""Choices whose words all stand there, none of them chosen at first."""


TABLES: Final = frozenset({"weighings", "crust_lines", "filling_lines"})
"""Lists of entries that stand in a table, a line each."""


def as_first(path: str) -> str:
    """Return a field's path, a further stamp's layers being as those of the first.

    Examples
    --------
    >>> as_first("further_stamps.layers.pattern")
    'relief.layers.pattern'
    """
    return path.replace("further_stamps.layers", "relief.layers")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FormSchema:
    """Describes sections and fields for the browser, in one language."""

    words: Texts
    choices: Mapping[str, tuple[tuple[str, str], ...]]
    """Words and their labels for fields whose schema is plain text, by path."""
    pictures: frozenset[str]
    """Paths of the choices that are shown as pictures."""
    suggestions: Mapping[str, tuple[str, ...]]
    """Words that a text field offers while one types, by path; others are as good."""

    def section(self, section: FormSection) -> dict[str, Any]:
        """Return a table as the form reads it."""
        return {
            "name": section.name or section.fields[0].name,
            "path": section.name,
            "label": self.words.section(section.name) if section.name else "",
            "fields": [self.field(field) for field in section.fields],
        }

    def field(self, field: FormField) -> dict[str, Any]:
        """Return a field as the form reads it."""
        words = self.words
        path = as_first(field.path)
        kind = UPLOAD_KINDS.get(field.file)
        one, add = words.one(field.path)
        plain = {
            "name": field.name,
            "kind": self._kind(field),
            "label": words.label(field),
            "help": words.help(field),
            "unit": words.word(field.unit) if field.unit else "",
            "range": self._range(field),
            "step": field.step,
            "start": self._start(field),
            "limits": _limits(field),
            "placeholder": words["left_out"] if field.optional else "",
            "options": self._options(field),
            "suggestions": list(self.suggestions.get(path, ())),
            "main": field.main,
            "pictures": path in self.pictures,
            "radios": path in RADIOS,
            "upload": field.file,
            "accept": ",".join(f".{ending}" for ending in kind.endings) if kind else "",
            "only": _only(field),
        }
        if field.kind == "rows":
            layered = set(SOURCES) <= {inner.name for inner in field.fields}
            plain |= {
                "one": one,
                "table": field.path in TABLES,
                "add": add,
                "fields": [self.field(inner) for inner in field.fields],
                "sources": [
                    {"value": name, "label": words.word(name)} for name in SOURCES if layered
                ],
            }
        return plain

    def _kind(self, field: FormField) -> str:
        path = as_first(field.path)
        if path in self.choices:
            return "choice"
        return "lines" if field.lines else field.kind

    def _options(self, field: FormField) -> list[dict[str, str]]:
        path = as_first(field.path)
        given = self.choices.get(path) or [(c, self.words.word(c)) for c in field.choices]
        if path in RADIOS:
            return [{"value": value, "label": label} for value, label in given]
        empty = [{"value": "", "label": self.words["left_out"]}]
        options = [{"value": value, "label": label} for value, label in given]
        return empty + options if field.optional and path not in self.pictures else options

    def _range(self, field: FormField) -> str:
        low, high = field.limits.get("minimum"), field.limits.get("maximum")
        above, below = field.limits.get("exclusiveMinimum"), field.limits.get("exclusiveMaximum")
        says = [
            self.words[key].format(value=f"{value:,.12g}".replace(",", "\u202f"))
            for key, value in (("at_least", low), ("above", above), ("at_most", high),
                               ("below", below))
            if value is not None
        ]  # fmt: skip
        return self.words.numbers(self.words["comma"].join(says))

    def _start(self, field: FormField) -> float:
        low = field.limits.get("minimum", field.limits.get("exclusiveMinimum", 0.0))
        return float(field.default) if isinstance(field.default, int | float) else low


def _limits(field: FormField) -> list[float | None]:
    """Return the lowest and the highest number that a step may reach; None where there is none."""
    low, high = field.limits.get("minimum"), field.limits.get("maximum")
    if low is None and "exclusiveMinimum" in field.limits:
        low = field.limits["exclusiveMinimum"] + (field.step or 0.0)
    if high is None and "exclusiveMaximum" in field.limits:
        high = field.limits["exclusiveMaximum"] - (field.step or 0.0)
    return [low, high]


def _only(field: FormField) -> list[list[Any]]:
    """Return which values of other fields show a field: a layer's source, a mould's kind."""
    if field.kinds:
        return [["kind", list(field.kinds)]]
    if field.path == "printer.process":
        return [["printer.machine", [SERVICE]]]
    if field.path == "further_stamps":
        return [["mould.kind", [Kind.PRESS.value]]]
    if not as_first(field.path).startswith("relief.layers."):
        return [[name, list(allowed)] for name, allowed in field.only]
    source = field.name if field.name in SOURCES else ONLY_FOR.get(field.name)
    return [["source", [source]]] if source else []
