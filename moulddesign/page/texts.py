"""Every word that the page shows, in one file a language."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final

from moulddesign.page.fields import Field

LANGUAGES: Final = ("en", "de")
"""Languages that are complete, the first where no other is asked for."""


@dataclass(frozen=True, slots=True, eq=False)
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

    def word(self, word: str) -> str:
        """Return a word of a choice, a part or a unit; as it is where no file knows it."""
        return str(self.tables["words"].get(word, word.replace("-", " ")))

    def section(self, name: str) -> str:
        """Return the heading of a table of the design file."""
        return str(self.tables["sections"].get(name, name.replace("_", " ").capitalize()))

    def one(self, path: str) -> tuple[str, str]:
        """Return what one entry of a list is called, and the words that add one."""
        one = self.tables["entries"].get(path)
        return (one[0], one[1]) if one else (path.rpartition(".")[2], "+")

    def _field(self, field: Field) -> tuple[str, str]:
        given = self.tables["fields"].get(field.path)
        if given is None:
            unit = field.unit.replace("/", "_per_").lower()
            plain = field.name.removesuffix(f"_{unit}") if unit else field.name
            return (plain.replace("_", " ").capitalize(), field.says)
        return (given[0], given[1] if len(given) > 1 else field.says)


@cache
def texts(language: str) -> Texts:
    """Return the words of a language.

    Parameters
    ----------
    language : str
        One of `LANGUAGES`.
    """
    source = files("moulddesign") / "page" / "texts" / f"{language}.toml"
    return Texts(language, tomllib.loads(source.read_text(encoding="utf-8")))


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
