"""Files are read within limits; whatever is wrong with one is said in one sentence."""

import os
import sys

import pytest

from moulddesign.core import FileError, bundled_toml, read_bytes, read_csv, read_toml, say
from moulddesign.core.files import CsvRow
from moulddesign.core.limits import MOST_NESTED

ADVICE = say("core.text-is-short")


def test_a_file_of_just_the_limit_is_read_and_a_byte_more_is_refused(tmp_path):
    file = tmp_path / "a.bin"
    file.write_bytes(b"x" * 1000)
    assert read_bytes(file, most_bytes=1000, advice=ADVICE) == b"x" * 1000
    with pytest.raises(FileError, match=r"a.bin: is larger than 0.000999 MB, the limit; a file of"):
        read_bytes(file, most_bytes=999, advice=ADVICE)


def test_what_is_no_readable_file_is_refused(tmp_path):
    with pytest.raises(FileError, match=r"is a folder; name a file in it\.$"):
        read_toml(tmp_path)
    with pytest.raises(FileError, match=r"cannot be read \(No such file or directory\)\.$"):
        read_toml(tmp_path / "none.toml")
    with pytest.raises(FileError, match=r"cannot be read \(.*null"):
        read_toml("a\0b.toml")
    with pytest.raises(FileError, match=r"is a device or a pipe"):
        read_toml(os.devnull)


@pytest.mark.skipif(sys.platform == "win32", reason="named pipes are no files there")
def test_a_pipe_is_refused_at_once(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")  # opening it would wait for a writer for ever
    with pytest.raises(FileError, match=r"is a device or a pipe"):
        read_toml(tmp_path / "pipe.toml")


@pytest.mark.parametrize("open_close", ["[]", ("{ a = ", "}")])
def test_nesting_is_refused_beyond_the_limit(tmp_path, open_close):
    file = tmp_path / "deep.toml"
    opening, closing = open_close
    # The file's own table is one of the levels, and the innermost value another.
    file.write_text(f"a = {opening * (MOST_NESTED - 2)}1{closing * (MOST_NESTED - 2)}")
    read_toml(file)
    file.write_text(f"a = {opening * (MOST_NESTED - 1)}1{closing * (MOST_NESTED - 1)}")
    with pytest.raises(FileError, match="nests its lists and tables too deep"):
        read_toml(file)


@pytest.mark.parametrize("text", ["{key} = 1", "a = {{ {key} = 1 }}", "[{key}]"])
@pytest.mark.parametrize("word", ["a", '"a"', "'a'"])
def test_a_key_of_very_many_dots_is_refused_before_it_is_parsed(tmp_path, text, word):
    file = tmp_path / "dots.toml"  # the parser would take minutes
    file.write_text(text.format(key=".".join([word] * 50_000)))
    with pytest.raises(FileError, match="nests its lists and tables too deep"):
        read_toml(file)


# The examples of RFC 4180, section 2: quotes, commas and line breaks inside quotes, doubled quotes.
def test_a_csv_table_is_read_as_the_rfc_says(tmp_path):
    file = tmp_path / "a.csv"
    file.write_bytes(b'aaa,bbb,ccc\r\n"a""aa","b\r\nbb","c,cc"\r\nzzz,yyy,xxx')
    table = read_csv(file, advice=ADVICE)
    assert table.heads == ("aaa", "bbb", "ccc")
    assert table.rows == (
        CsvRow(2, ('a"aa', "b\r\nbb", "c,cc")),
        CsvRow(3, ("zzz", "yyy", "xxx")),
    )


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_marks_and_line_ends_do_not_matter(tmp_path, separator, encoding, end):
    file = tmp_path / "a.csv"
    lines = ["", separator.join([" Äpfel ", '"b,;\tc"']), separator * 2, separator.join("12"), ""]
    file.write_bytes(end.join(lines).encode(encoding))
    table = read_csv(file, advice=ADVICE)
    assert (table.heads, table.rows) == (("Äpfel", "b,;\tc"), (CsvRow(4, ("1", "2")),))


def test_an_empty_table_has_neither_heads_nor_rows(tmp_path):
    file = tmp_path / "a.csv"
    file.write_text("\n ,\n")
    table = read_csv(file, advice=ADVICE)
    assert (table.heads, table.rows) == ((), ())


def test_the_tables_of_the_package_are_found():
    assert bundled_toml("data", "foods.toml")["foods"]
