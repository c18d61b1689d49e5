"""Sentences of the rooms below in another language: templates whose holes take numbers and names.

The rooms below speak English. A language has a template for each sentence that they say; where a
sentence changes and its template does not, a test says so, and the page shows the English.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

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
