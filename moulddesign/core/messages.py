"""What the tool says: an id with values, and a text for it in each language.

Errors, findings and cautions carry a `Message`; whoever shows it picks the language. A message
never holds finished text, so nothing has to be translated back from English.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, reduce
from importlib.resources import files
from typing import Any, Final


class Language(StrEnum):
    """A language that has a text for every id."""

    EN = "en"
    DE = "de"
    ZH = "zh"


LANGUAGES: Final = tuple(each.value for each in Language)
"""All of them, the default first."""

DECIMAL_COMMA: Final = frozenset({"de"})
"""Languages that write 0.4 as 0,4."""

DECIMAL: Final = re.compile(r"(?<![\w.-])-?\d+(?:\.\d+-\d+)?\.\d+(?!\w|\.\w)")
"""A number with a decimal point, or two as a range, that is no part of a name, date or version."""

LIST_COMMA: Final = {"zh": "\u3001"}
"""What separates the entries of a list, where it is no comma with a space."""

BETWEEN_SENTENCES: Final = {"zh": ""}
"""What separates sentences, where it is no space."""

WORD: Final = "word."
"""Ids of single words: names of parts, shapes, choices. One without a text is shown as it is."""


@dataclass(frozen=True, slots=True)
class Message:
    """A text to be shown, in any language; as a string it is English, for logs and JSON."""

    id: str
    """Table and key of the languages' files: "portion.loss-too-large"."""
    values: tuple[tuple[str, Any], ...] = ()
    """What the text's `{braces}` take, by name. A message among them is put into words too, and a
    tuple becomes a list with commas."""

    def __str__(self) -> str:
        return self.text()

    @property
    def is_unknown(self) -> bool:
        """Whether no language knows it, so that it is shown as it is: a word of a person's own."""
        return all(_template(self.id, language) is None for language in LANGUAGES)

    def text(self, language: str = LANGUAGES[0]) -> str:
        """Return the text in one of `LANGUAGES`.

        Examples
        --------
        >>> word("stamp").text("de")
        'Stempel'
        """
        template = _template(self.id, language)
        if template is None and self.id.startswith(WORD):
            return self.id.removeprefix(WORD)
        if template is None:
            raise KeyError(self.id)
        shown = {name: _shown(value, language) for name, value in self.values}
        return template.format_map(shown)


def say(id_: str, **values: object) -> Message:
    """Return the message of an id; each language's file holds its text."""
    return Message(id_, tuple(values.items()))


def word(name: str) -> Message:
    """Return a word of the tool's own, such as the name of a part or of an outline.

    Examples
    --------
    >>> word("sleeve").text("de"), word("willow").text("de")
    ('Hülse', 'willow')
    """
    return Message(f"{WORD}{name}")


def source_of(text: str) -> Message:
    """Return where a figure comes from: what the language knows of it in words, the rest as it is.

    Examples
    --------
    >>> source_of("published: a table; from memory, measure your own").text("de")
    'veröffentlicht: a table; aus dem Gedächtnis, selbst messen'
    """
    parts = [
        reduce(_of_part, map(word, reversed(phrase.split(": ")))) for phrase in text.split("; ")
    ]
    return reduce(lambda some, last: say("core.and-phrase", some=some, last=last), parts)


def _of_part(what: Message, part: Message) -> Message:
    return say("core.of-part", part=part, what=what)


def either(words: Sequence[Message | str]) -> Message | str:
    """Return words as a list that ends in "or"."""
    return say("core.or", some=tuple(words[:-1]), last=words[-1]) if words[1:] else words[0]


def both(words: Sequence[Message | str]) -> Message | str:
    """Return words as a list that ends in "and"."""
    return say("core.and", some=tuple(words[:-1]), last=words[-1]) if words[1:] else words[0]


def _shown(value: object, language: str) -> object:
    if isinstance(value, Message):
        return value.text(language)
    if isinstance(value, tuple):
        return list_comma(language).join(str(_shown(each, language)) for each in value)
    return value


def in_words(value: Any, language: str) -> Any:  # noqa: ANN401 (plain values of any kind)
    """Return plain values with each message as text, and numbers in text as a language writes them.

    A tuple is a paragraph of sentences, of which empty ones are left out.
    """
    match value:
        case Message():
            return with_decimal_sign(value.text(language), language)
        case str():
            return with_decimal_sign(value, language)
        case tuple():
            sentences = [in_words(each, language) for each in value]
            return BETWEEN_SENTENCES.get(language, " ").join(filter(None, sentences))
        case list():
            return [in_words(each, language) for each in value]
        case dict():
            return {key: in_words(each, language) for key, each in value.items()}
    return value


@cache
def letters_of(language: str) -> frozenset[int]:
    """Return the code points of all texts of a language."""
    return frozenset(ord(one) for text in _texts(language).values() for one in text)


def list_comma(language: str) -> str:
    """Return what separates the entries of a list."""
    return LIST_COMMA.get(language, ", ")


def with_decimal_sign(text: str, language: str) -> str:
    """Return text with the decimal sign of a language; names, dates and versions are left alone.

    Examples
    --------
    >>> with_decimal_sign("0.4 mm, shim-0.4.stl", "de")
    '0,4 mm, shim-0.4.stl'
    """
    return DECIMAL.sub(_with_comma, text) if language in DECIMAL_COMMA else text


def _with_comma(found: re.Match[str]) -> str:
    return found[0].replace(".", ",")


def _template(id_: str, language: str) -> str | None:
    table, _, key = id_.partition(".")
    return _table(table, language).get(key)


@cache
def _texts(language: str) -> Mapping[str, str]:
    """Return every text of a language by its id."""
    tables = tomllib.loads(_file(language))
    return {
        f"{table}.{key}": text for table, texts in tables.items() for key, text in texts.items()
    }


@cache
def _table(table: str, language: str) -> Mapping[str, str]:
    """Return the texts of a table by their keys: most runs show a few of a few tables."""
    _, _, found = _file(language).partition(f"\n[{table}]\n")
    return tomllib.loads(found.partition("\n[")[0])


@cache
def _file(language: str) -> str:
    file = files("moulddesign") / "data" / "messages" / f"{language}.toml"
    return file.read_text(encoding="utf-8")
