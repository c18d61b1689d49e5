"""Every word that the page shows, in one file a language, and errors in that language."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Final

from moulddesign.core import (
    DECIMAL_COMMA,
    LANGUAGES,
    FileError,
    FileMistakesError,
    Message,
    Mistake,
    MouldError,
    SpecError,
    bundled_toml,
    in_words,
    say,
    word,
)
from moulddesign.core.messages import DECIMAL
from moulddesign.design import TABLE
from moulddesign.page.draft import FormField

UNIT: Final = re.compile(r"_(?:mm|g|deg|ml|c|n|kpa|g_per_ml|mm3_per_s)$")
"""The end of a key that is its unit."""

DECIMAL_OR_TAG: Final = re.compile(rf"<[^>]*>|({DECIMAL.pattern})")
"""A tag of HTML, or a number with a decimal point."""


@dataclass(frozen=True, eq=False)
class Texts:
    """The words of one language."""

    language: str
    """As HTML names it."""
    tables: Mapping[str, Any]
    """The language's file."""

    def __getitem__(self, key: str) -> str:
        """Return a text of the table `page`."""
        return str(self.tables["page"][key])

    def label(self, field: FormField) -> str:
        """Return a field's label; one that no file knows is made of its name."""
        return self._field(field)[0]

    def help(self, field: FormField) -> str:
        """Return what a field is: the language's sentence, or the schema's."""
        return self._field(field)[1]

    def word(self, name: str) -> str:
        """Return a word of a choice, a part or a unit; as it is where no file knows it."""
        known = self.tables["labels"].get(name) or word(name).text(self.language)
        return name.replace("-", " ") if known == name else str(known)

    def food(self, name: str) -> str:
        """Return a food's name; one of a person's own stays as it was typed."""
        return word(name).text(self.language)

    def section(self, name: str) -> str:
        """Return the heading of a table of the design file."""
        return str(self.tables["sections"].get(name, name.replace("_", " ").capitalize()))

    def one(self, path: str) -> tuple[str, str]:
        """Return what one entry of a list is called, and the words that add one."""
        one = self.tables["entries"].get(path)
        return (one[0], one[1]) if one else (path.rpartition(".")[2], "+")

    def said(self, text: Message | str) -> str:
        """Return a sentence of the rooms below; what is no message may be a word of ours."""
        message = word(text) if isinstance(text, str) else self._as_in_a_field(text)
        return self.numbers(message.text(self.language))

    def sentences(self, *texts: str) -> str:
        """Return sentences one after another, as this language separates them."""
        return str(in_words(texts, self.language))

    def numbers(self, text: str) -> str:
        """Return text or HTML with this language's decimal sign; tags and names are left alone."""
        if self.language not in DECIMAL_COMMA:
            return text
        return DECIMAL_OR_TAG.sub(
            lambda found: found[0] if found[1] is None else found[1].replace(".", ","), text
        )

    def upload_error(self, text: str) -> str:
        """Return what was wrong with an upload: a key of the page's texts, or a sentence."""
        return str(self.tables["page"].get(text, text))

    def need(self, error: MouldError) -> str:
        """Return what is wrong with a field, as a sentence beside it."""
        match error:
            case SpecError():
                text: Message | str = error.need
            case FileError():
                text = error.reason
            case _:
                text = str(error)
        said = self.said(text if isinstance(text, Message) else text.rstrip("."))
        return f"{said[:1].upper()}{said[1:]}{self['full_stop']}"

    def error(self, error: MouldError) -> str:
        """Return what is wrong as a sentence that names the field, file or step."""
        by_keys = isinstance(error, FileMistakesError) or not isinstance(error, SpecError)
        if self.language == LANGUAGES[0] and by_keys:  # a file has keys, not labels
            return str(error)
        match error:
            case FileMistakesError():
                return "\n".join([f"{error.path}:", *map(self._mistake, error.mistakes)])
            case SpecError():
                given = "" if error.value == TABLE else f" ({self._given(error.value)})"
                return self._sentence(f"{self.label_at(error.field)}{given}", error.need)
            case FileError():
                return self._sentence(str(error.path), error.reason)
        return self.said(error.message) + self["full_stop"]

    def _sentence(self, of: str, need: Message | str) -> str:
        return f"{of}{self['colon']}{self.said(need)}{self['full_stop']}"

    def _mistake(self, mistake: Mistake) -> str:
        sentence = self.error(mistake.error)
        if mistake.line is None:
            return sentence
        return self.said(say("core.on-line", line=mistake.line, sentence=sentence))

    def _as_in_a_field(self, message: Message) -> Message:
        """Return a message with the parts reworded that speak of a file's quotes."""
        text = self.tables["in_a_field"].get(message.id)
        if text is not None:
            return word(text)
        values = [
            (name, self._as_in_a_field(value) if isinstance(value, Message) else value)
            for name, value in message.values
        ]
        return replace(message, values=tuple(values))

    def label_at(self, path: str) -> str:
        """Return the label of a dotted field, after that of its entry, counted from 1.

        Examples
        --------
        >>> page_texts("en").label_at("relief.layers.1.size_mm")
        'Layer 2: Size'
        """
        parts = path.split(".")
        plain = ".".join(part for part in parts if not part.isdigit())
        known = self.tables["fields"].get(plain)
        label = known[0] if known else named(UNIT.sub("", parts[-1]))
        places = [place for place, part in enumerate(parts) if part.isdigit()]
        if not places:
            return str(label)
        entry = ".".join(part for part in parts[: places[-1]] if not part.isdigit())
        number = int(parts[places[-1]]) + 1
        is_named = entry in self.tables["entries"]
        one = f"{self.one(entry)[0] if is_named else self.label_at(entry)} {number}"
        return one if parts[-1].isdigit() else f"{one}{self['colon']}{label}"

    def _given(self, value: object) -> str:
        return self.said(value) if isinstance(value, str) else f"{value}"

    def _field(self, field: FormField) -> tuple[str, str]:
        given = self.tables["fields"].get(field.path)
        if given is None:
            unit = field.unit.replace("/", "_per_").lower()
            plain = field.name.removesuffix(f"_{unit}") if unit else field.name
            return (named(plain), field.description)
        return (given[0], given[1] if len(given) > 1 else field.description)


def named(key: str) -> str:
    """Return a key of a design file as a label."""
    return key.replace("_", " ").capitalize()


@cache
def page_texts(language: str) -> Texts:
    """Return the words of one of `LANGUAGES`."""
    return Texts(language, bundled_toml("page", "texts", f"{language}.toml"))


def language_for(asked: str, accepted: str) -> str:
    """Return the language to show.

    Examples
    --------
    >>> language_for("", "de-AT,de;q=0.9,en;q=0.8"), language_for("fr", "")
    ('de', 'en')
    """
    wanted = [asked, *(part.partition(";")[0].strip() for part in accepted.split(","))]
    known = [one[:2].lower() for one in wanted if one[:2].lower() in LANGUAGES]
    return known[0] if known else LANGUAGES[0]
