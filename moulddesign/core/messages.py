"""What the tool says: an id with values, and a text for it in each language.

Errors, findings and cautions carry a `Message`; whoever shows it picks the language. A message
never holds finished text, so nothing has to be translated back from English.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final

LANGUAGES: Final = ("en", "de")
"""Languages that have a text for every id, the default first."""

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

    def text(self, language: str = LANGUAGES[0]) -> str:
        """Return the text in one of `LANGUAGES`.

        Examples
        --------
        >>> word("stamp").text("de")
        'Stempel'
        """
        template = _texts(language).get(self.id)
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


def _shown(value: object, language: str) -> object:
    if isinstance(value, Message):
        return value.text(language)
    if isinstance(value, tuple):
        return ", ".join(str(_shown(each, language)) for each in value)
    return value


@cache
def _texts(language: str) -> Mapping[str, str]:
    """Return every text of a language by its id."""
    file = files("moulddesign") / "data" / "messages" / f"{language}.toml"
    tables = tomllib.loads(file.read_text(encoding="utf-8"))
    return {
        f"{table}.{key}": text for table, texts in tables.items() for key, text in texts.items()
    }
