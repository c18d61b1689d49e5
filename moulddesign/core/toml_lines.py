"""On which line of a TOML text each key stands: the standard parser keeps values, not places.

The text has been parsed before, so what is looked at here is known to be TOML: a value only has to
be stepped over. Strings may hold brackets and line ends, so they are stepped over whole.
"""

import re
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from typing import Final

Keys = tuple[str | int, ...]
"""Keys from the outermost table, entries of lists counted from 0."""

IDLE: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
"""Spaces, line ends and comments."""
KEY: Final = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""")
STRING: Final = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})'
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
SCALAR: Final = re.compile(r"[^,\]}#\n]+")


def toml_lines(text: str) -> Mapping[Keys, int]:
    r"""Return the line, from 1, of every key, table and entry of a list.

    Parameters
    ----------
    text : str
        TOML that the standard parser takes.

    Examples
    --------
    >>> toml_lines("[portion]\nratio = '3:7'\n\n[[centres]]\nname = 'date'")
    {('portion',): 1, ('portion', 'ratio'): 2, ('centres', 0): 4, ('centres', 0, 'name'): 5}
    """
    return _Scanner(text).scan()


def line_of(keys: Sequence[str | int], lines: Mapping[Keys, int]) -> int | None:
    r"""Return the line of a key; of the table that lacks it, where it is not there.

    Examples
    --------
    >>> lines = toml_lines("[portion]\nratio = '3:7'")
    >>> line_of(("portion", "loss"), lines), line_of(("name",), lines)
    (1, None)
    """
    ways = (tuple(keys[:length]) for length in range(len(keys), 0, -1))
    return next((lines[way] for way in ways if way in lines), None)


class _Scanner:
    """Goes through a text once, and notes where each key begins."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.ends = [place for place, letter in enumerate(text) if letter == "\n"]
        self.lines: dict[Keys, int] = {}
        self.entries: dict[Keys, int] = {}
        """How many tables each list of tables has so far."""

    def scan(self) -> dict[Keys, int]:
        table: Keys = ()
        self._skip_idle()
        while self.at < len(self.text):
            begin = self.at
            if self._take("["):
                in_list = self._take("[")
                table = self._table(self._key(), in_list=in_list)
                self._take("]")
                if in_list:
                    self._take("]")
                self._note(table, begin)
            else:
                self._pair(table)
            self._skip_idle()
        return self.lines

    def _table(self, names: Sequence[str], *, in_list: bool) -> Keys:
        """Return the keys of a head: a list of tables on the way means its last entry."""
        way: Keys = ()
        for name in names[:-1]:
            way = (*way, name)
            if way in self.entries:
                way = (*way, self.entries[way] - 1)
        way = (*way, names[-1])
        if in_list:
            self.entries[way] = self.entries.get(way, 0) + 1
            way = (*way, self.entries[way] - 1)
        return way

    def _pair(self, table: Keys) -> None:
        begin = self.at
        keys = (*table, *self._key())
        for length in range(len(table) + 1, len(keys) + 1):
            self._note(keys[:length], begin)
        self._take("=")
        self._value(keys)

    def _value(self, keys: Keys) -> None:
        self._skip_idle()
        if self._take("["):
            self._inside("]", keys, listed=True)
        elif self._take("{"):
            self._inside("}", keys, listed=False)
        elif not self._match(STRING):
            self._match(SCALAR)

    def _inside(self, close: str, keys: Keys, *, listed: bool) -> None:
        """Step over a list or an inline table, up to the bracket that closes it."""
        place = 0
        self._skip_idle()
        while not self._take(close):
            if listed:
                self._note((*keys, place), self.at)
                self._value((*keys, place))
                place += 1
            else:
                self._pair(keys)
            self._skip_idle()
            self._take(",")
            self._skip_idle()

    def _key(self) -> list[str]:
        names = [self._name()]
        while self._take("."):
            names.append(self._name())
        return names

    def _name(self) -> str:
        self._skip_idle()
        name = self._match(KEY)
        self._skip_idle()
        # A quoted key with escapes is shown as it is typed: it is no key that anything knows.
        return name[1:-1] if name[:1] in {'"', "'"} else name

    def _note(self, keys: Keys, begin: int) -> None:
        self.lines.setdefault(keys, bisect_right(self.ends, begin) + 1)

    def _skip_idle(self) -> None:
        self._match(IDLE)

    def _take(self, mark: str) -> bool:
        there = self.text.startswith(mark, self.at)
        self.at += len(mark) if there else 0
        return there

    def _match(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self.text, self.at)
        if found is None:
            return ""
        self.at = found.end()
        return found.group()
