"""Each key of a TOML text stands on the line that a person finds it on."""

import tomllib

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.core import line_of, toml_lines

TEXT = '''\
# a comment with [brackets] = and "quotes
name = "a # b ] }"

[portion] # a table
ratio = '3:7'
centres = [
    { name = "date", mass_g = 5 }, # the first
    { name = """
two ] lines""", mass_g = 6 },
]
a."b c".d = 1979-05-27 07:32:00Z

[[further.stamps]]
x = [1,
  [2, 3]]
[further.stamps.deep]
y = true
[[further.stamps]]
x = 3
'''


def test_each_key_has_its_line():
    lines = toml_lines(TEXT)
    # Counted by hand in the text above.
    assert {".".join(map(str, keys)): line for keys, line in lines.items()} == {
        "name": 2, "portion": 4, "portion.ratio": 5, "portion.centres": 6,
        "portion.centres.0": 7, "portion.centres.0.name": 7, "portion.centres.0.mass_g": 7,
        "portion.centres.1": 8, "portion.centres.1.name": 8, "portion.centres.1.mass_g": 9,
        "portion.a": 11, "portion.a.b c": 11, "portion.a.b c.d": 11,
        "further.stamps.0": 13, "further.stamps.0.x": 14, "further.stamps.0.x.0": 14,
        "further.stamps.0.x.1": 15, "further.stamps.0.x.1.0": 15, "further.stamps.0.x.1.1": 15,
        "further.stamps.0.deep": 16, "further.stamps.0.deep.y": 17,
        "further.stamps.1": 18, "further.stamps.1.x": 19,
    }  # fmt: skip


def test_a_missing_key_has_the_line_of_its_table():
    assert line_of(("portion", "centres", 1, "count"), toml_lines(TEXT)) == 8


@pytest.mark.parametrize("text", ["", "\n\n# nothing\n", "a=1", "a = [\r\n]\r\nb = {}\r\n"])
def test_short_texts(text):
    assert {keys[0] for keys in toml_lines(text)} == set(tomllib.loads(text))


VALUES = st.recursive(
    st.booleans() | st.integers(-9, 9) | st.floats(allow_nan=False) | st.text(max_size=9)
    | st.dates() | st.datetimes(),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(st.from_regex(r"\A[a-zA-Z0-9_ .#\[-]{1,5}\Z"), inner, max_size=3),
    max_leaves=12,
)  # fmt: skip


def ways(value, way=()):
    """Return where each value of nested plain values stands."""
    pairs = enumerate(value) if isinstance(value, list) else value.items()
    for key, inner in pairs:
        yield (*way, key)
        if isinstance(inner, list | dict):
            yield from ways(inner, (*way, key))


@given(tree=st.dictionaries(st.from_regex(r"\A[a-z#]{1,3}\Z"), VALUES, max_size=4))
def test_no_key_that_another_writer_wrote_is_missed(tree):
    text = tomli_w.dumps(tree, multiline_strings=True)
    lines = toml_lines(text)
    tables = {way for way in ways(tree) if way not in lines}
    # A list of tables has no line of its own: each of its tables has.
    assert all(any(keys[: len(way)] == way for keys in lines) for way in tables)
    assert set(lines) <= set(ways(tomllib.loads(text)))
