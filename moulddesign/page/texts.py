"""Every word that the page shows, in one file a language, and findings in that language."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from typing import Any, Final

from moulddesign.core import (
    FileError,
    KernelError,
    Message,
    MouldError,
    SpecError,
    bundled_toml,
    word,
)
from moulddesign.design import TABLE
from moulddesign.page.draft import Field

HOLE: Final = "{}"
PART: Final = re.compile(r"([a-z]+)((?:-[^:]+)?): (.+)", re.DOTALL)
"""A part, what tells it from others of its kind, and what is said of it."""
MORE: Final = re.compile(r"(.+) \((\d+) more to mend after this one\)", re.DOTALL)
"""A sentence about the first of several fields that are wrong."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Phrases:
    """The sentences of one language.

    Parameters
    ----------
    pairs : mapping of str to str
        Templates: what is said in English, and in this language, with holes `{}` in one order or
        numbered ones.
    words : mapping of str to str
        Names of parts, shapes and units, for the holes.
    more : str
        Template behind a sentence where more is wrong.
    """

    pairs: Mapping[str, str]
    words: Mapping[str, str]
    more: str
    _said: dict[str, str | None] = field(default_factory=dict)

    def said(self, text: str) -> str | None:
        """Return a sentence in this language; None where it is not known.

        Examples
        --------
        >>> german = Phrases(
        ...     pairs={"at least {}": "mindestens {}", "fits the bed": "geht aufs Bett"},
        ...     words={"stamp": "Stempel"},
        ...     more="",
        ... )
        >>> german.said("at least 2 mm"), german.said("stamp-sun: fits the bed")
        ('mindestens 2 mm', 'Stempel-sun: geht aufs Bett')
        """
        if text not in self._said:
            self._said[text] = self._found(text)
        return self._said[text]

    def _found(self, text: str) -> str | None:
        if not re.search("[A-Za-z]", text):
            return text
        if text in self.pairs:
            return self.pairs[text]
        more = MORE.fullmatch(text)
        if more is not None:
            first = self.said(more[1])
            return None if first is None else first + self.more.format(count=more[2])
        return self._of_a_part(text) or self._filled(text)

    def _of_a_part(self, text: str) -> str | None:
        part = PART.fullmatch(text)
        if part is None or part[1] not in self.words:
            return None
        said = self.said(part[3])
        return None if said is None else f"{self.words[part[1]]}{part[2]}: {said}"

    def _filled(self, text: str) -> str | None:
        for pattern, template in self._patterns:
            match = pattern.fullmatch(text)
            if match is not None:
                return template.format(*map(self._name, match.groups()))
        return None

    def _name(self, text: str) -> str:
        """Return what stands in a hole: a word, a sentence, or as it is."""
        return self.words.get(text) or self.said(text) or text

    @cached_property
    def _patterns(self) -> tuple[tuple[re.Pattern[str], str], ...]:
        # The more of a template is fixed, the earlier it is tried: "{} within {}" fits much.
        templates = sorted((t for t in self.pairs if HOLE in t), key=lambda t: (-len(t), t))
        return tuple(
            (re.compile("(.+?)".join(map(re.escape, t.split(HOLE))), re.DOTALL), self.pairs[t])
            for t in templates
        )


LANGUAGES: Final = ("en", "de")
"""Languages that are complete, the first where no other is asked for."""


@dataclass(frozen=True, eq=False)
class Texts:
    """The words of one language.

    Parameters
    ----------
    language : str
        As HTML names it.
    tables : mapping
        The language's file.
    """

    language: str
    tables: Mapping[str, Any]

    def __getitem__(self, key: str) -> str:
        """Return a text of the table `page`."""
        return str(self.tables["page"][key])

    def label(self, field: Field) -> str:
        """Return a field's label; one that no file knows is made of its name."""
        return self._field(field)[0]

    def help(self, field: Field) -> str:
        """Return what a field is: the language's sentence, or the schema's."""
        return self._field(field)[1]

    def word(self, name: str) -> str:
        """Return a word of a choice, a part or a unit; as it is where no file knows it."""
        known = self.tables["labels"].get(name) or word(name).text(self.language)
        return name.replace("-", " ") if known == name else str(known)

    def section(self, name: str) -> str:
        """Return the heading of a table of the design file."""
        return str(self.tables["sections"].get(name, name.replace("_", " ").capitalize()))

    def one(self, path: str) -> tuple[str, str]:
        """Return what one entry of a list is called, and the words that add one."""
        one = self.tables["entries"].get(path)
        return (one[0], one[1]) if one else (path.rpartition(".")[2], "+")

    def said(self, text: Message | str) -> str:
        """Return a sentence of the rooms below; in English, and said to be, where none is known."""
        if isinstance(text, Message):
            return self._as_in_a_field(text).text(self.language)
        found = self.phrases.said(text)
        return self["in_english"].format(text=text) if found is None else found

    def named(self, text: Message | str) -> str:
        """Return what may be a name or a published source: as it is where no language has it."""
        if isinstance(text, Message):
            return text.text(self.language)
        if self.language == LANGUAGES[0]:
            return text
        known = word(text).text(self.language)
        return known if known != text else (self.phrases.said(text) or text)

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
        return f"{said[:1].upper()}{said[1:]}."

    def error(self, error: MouldError) -> str:
        """Return what is wrong as a sentence that names the field, file or step."""
        if self.language == LANGUAGES[0]:
            return str(error)
        match error:
            case SpecError():
                given = "" if error.value == TABLE else f" ({self._given(error.value)})"
                return f"{self._path(error.field)}{given}: {self.said(error.need)}."
            case FileError():
                return f"{error.path}: {self.said(error.reason)}."
            case KernelError():
                step, reason = self.named(error.step), self.said(error.reason)
                return self["step_failed"].format(step=step, reason=reason)
        return self.said(str(error).rstrip(".")) + "."

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

    def _path(self, path: str) -> str:
        """Return the label of a dotted field, its list entries counted from 1."""
        parts = path.split(".")
        plain = ".".join(part for part in parts if not part.isdigit())
        label = self.tables["fields"].get(plain, [path])[0]
        places = [str(int(part) + 1) for part in parts if part.isdigit()]
        return " ".join([label, *places])

    def _given(self, value: object) -> str:
        return self.named(value) if isinstance(value, str) else f"{value}"

    @cached_property
    def phrases(self) -> Phrases:
        """Sentences of the rooms below."""
        tables = self.tables
        return Phrases(pairs=tables.get("phrases", {}), words={}, more=tables["page"]["more_wrong"])

    def _field(self, field: Field) -> tuple[str, str]:
        given = self.tables["fields"].get(field.path)
        if given is None:
            unit = field.unit.replace("/", "_per_").lower()
            plain = field.name.removesuffix(f"_{unit}") if unit else field.name
            return (plain.replace("_", " ").capitalize(), field.description)
        return (given[0], given[1] if len(given) > 1 else field.description)


@cache
def page_texts(language: str) -> Texts:
    """Return the words of a language.

    Parameters
    ----------
    language : str
        One of `LANGUAGES`.
    """
    tables = dict(bundled_toml("page", "texts", f"{language}.toml"))
    if language != LANGUAGES[0]:  # the rooms below speak the first
        tables |= bundled_toml("page", "texts", f"{language}-phrases.toml")
    return Texts(language, tables)


def language_for(asked: str, accepted: str) -> str:
    """Return the language to show.

    Parameters
    ----------
    asked : str
        What the address asks for; empty where nothing.
    accepted : str
        The browser's Accept-Language.

    Examples
    --------
    >>> language_for("", "de-AT,de;q=0.9,en;q=0.8"), language_for("fr", "")
    ('de', 'en')
    """
    wanted = [asked, *(part.partition(";")[0].strip() for part in accepted.split(","))]
    known = [one[:2].lower() for one in wanted if one[:2].lower() in LANGUAGES]
    return known[0] if known else LANGUAGES[0]
