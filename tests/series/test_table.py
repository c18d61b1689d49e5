"""Tables of designs: what a spreadsheet writes is read or refused with row and column."""

import csv
import io

import pytest
from hypothesis import given, settings
from strategies import designs

from moulddesign.core import MouldError
from moulddesign.design import Design
from moulddesign.series.table import read_series

BASE = Design()
HEADS = "name,portion.finished_weight_g,pastry.outline"


def table(folder, text, name="pieces.csv"):
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def read(folder, text, name="pieces.csv", base=BASE):
    return read_series(table(folder, text, name), base)


def test_each_row_is_laid_over_the_base_and_an_empty_cell_leaves_it(tmp_path):
    base = BASE.with_values({"portion.ratio": "4:6", "pastry.height_mm": 20.0})
    rows = read(
        tmp_path, "name,portion.finished_weight_g,pastry.width_mm\nsun,60,\nbee,,50\n", base=base
    )
    assert [row.place for row in rows] == ["row 2", "row 3"]
    sun, bee = (row.design for row in rows)
    assert sun == base.with_values({"name": "sun", "portion.finished_weight_g": 60.0})
    # With the weight only one size is free: a size of the row takes the place of the base's.
    assert bee == base.with_values({"name": "bee", "pastry.width_mm": 50.0})
    assert bee.pastry.height_mm is None


# RFC 4180 parts cells by commas and lines by CR LF; spreadsheets in countries with decimal commas
# part them by semicolons, and mark UTF-8 with U+FEFF (common practice, no source).
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\r\n", "\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_what_spreadsheets_write_is_read(tmp_path, separator, end, mark):
    file = io.StringIO(newline="")
    writer = csv.writer(file, delimiter=separator, lineterminator=end)
    writer.writerows(
        [
            ["name", "portion.finished_weight_g", "relief.layers.1.text", "mould.lettering", ""],
            ['Äpfel; 2, "klein"'.replace('"', "'"), "60.5", "Fig,\nDate", "no", ""],
            ["", " ", "", "", ""],
            ["plain", "80", "", "", ""],
        ]
    )
    first, last = read(tmp_path, mark + file.getvalue())
    assert first.design.name == "Äpfel; 2, 'klein'"
    assert first.design.portion.finished_weight_g == 60.5
    assert first.design.relief.layers[0].text == "Fig,\nDate"
    assert first.design.relief.layers[0].pattern is None
    assert first.design.mould.lettering is False
    # A row without text is left out, and the next keeps the number that the spreadsheet shows.
    assert (last.place, last.design.name) == ("row 4", "plain")


def test_entries_of_lists_are_counted_from_one(tmp_path):
    (row,) = read(
        tmp_path,
        "name,portion.centres.1.mass_g,portion.centres.2.mass_g,further_stamps.1.name,"
        "further_stamps.1.layers.1.pattern\nx,5,6,bee,bee\n",
    )
    assert [centre.mass_g for centre in row.design.portion.centres] == [5.0, 6.0]
    assert row.design.further_stamps[0].layers[0].pattern == "bee"


def test_a_toml_table_holds_pieces_as_design_files_do(tmp_path):
    text = (
        '[[pieces]]\nname = "a"\nportion.finished_weight_g = 60\n'
        'relief.layers = [{ text = "Fig" }]\n'
        '[[pieces]]\nname = "b"\n[pieces.mould]\nkind = "block"\ncavities = 2\n'
    )
    first, second = read(tmp_path, text, "pieces.toml")
    assert (first.place, first.design.relief.layers[0].text) == ("piece 1", "Fig")
    assert second.design.mould.cavities == 2


def test_drawings_lie_beside_the_table(tmp_path):
    folder = tmp_path / "orders"
    folder.mkdir()
    heads = "name,pastry.outline,relief.layers.1.pattern,relief.layers.2.pattern"
    (row,) = read(folder, f"{heads}\na,leaf.svg,wasp.png,bee\n")
    assert row.design.pastry.outline == str(folder / "leaf.svg")
    assert [layer.pattern for layer in row.design.relief.layers] == [
        str(folder / "wasp.png"),
        "bee",
    ]


@given(design=designs())
@settings(max_examples=20)
def test_any_design_written_as_a_row_is_read_back(tmp_path_factory, design):
    cells = {"name": design.name}
    for key in ("finished_weight_g", "ratio", "loss", "trapped_air"):
        cells[f"portion.{key}"] = getattr(design.portion, key)
    for key in ("outline", "width_mm", "height_mm", "height_to_width", "lobes"):
        value = getattr(design.pastry, key)
        cells[f"pastry.{key}"] = "" if value is None else value
    file = io.StringIO(newline="")
    csv.writer(file).writerows([cells.keys(), cells.values()])
    (row,) = read(tmp_path_factory.mktemp("table"), file.getvalue())
    asked = {key: value for key, value in cells.items() if value != ""}
    assert row.design == BASE.with_values(asked)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (f"{HEADS}\na,-1,round\n", r"^row 2, column portion.finished_weight_g = -1.0: must be abo"),
        (
            f"{HEADS}\na,60,round\nb,nan,round\n",
            r"^row 3, column .* = 'nan': must be a number such as 12.5 g",
        ),
        (f"{HEADS}\na,1e400,round\n", r"^row 2, .* = '1e400': must be a number such as 12.5 g"),
        (f"{HEADS}\na,abc,round\n", r"_weight_g = 'abc': must be a number such as 12.5 g\.$"),
        (f"{HEADS}\na,60,triangel\n", r"column pastry.outline = 'triangel': must be one of round"),
        (f"{HEADS}\na,75,5,round\n", r"^row 2 = 'round': is beyond .* a decimal comma may"),
        (f'{HEADS}\na,"75,5",round\n', r"= '75,5': has a comma, which separates the cells"),
        (f"{HEADS.replace(',', ';')}\na;1,250;round\n", r"= '1,250': could be 1250 or 1.250"),
        (f"{HEADS}\na,60,round\nA,61,round\n", r"^row 3, column name = 'A': is the name of row 2"),
        (f"{HEADS}\n,60,round\n", r"^row 2, column name = '': is left empty"),
        (f"{HEADS}\na/b,60,round\n", r"^row 2, column name = 'a/b': must not hold '/'"),
        ("name,mould.cavities\na,two\n", r"= 'two': must be a number such as 12.5\.$"),
        (
            "name,mould.cavities\na,2\n",
            r"^row 2, column mould.cavities = 2: belongs to the kind",
        ),
        (
            "name,pastry.width_mm,pastry.height_mm\na,50,20\n",
            r"^row 2, pastry: width_mm and height",
        ),
        (
            "name,relief.layers.3.text\na,b\n",
            r"^row 2, column relief.layers.3.text = 'b': names no",
        ),
        (
            "name,weight\na,60\n",
            r"pieces.csv: has a column 'weight', which is no key .* nearest is",
        ),
        (
            "name,relief.layers.0.text\na,b\n",
            r"has a column 'relief.layers.0.text', which is no key",
        ),
        ("portion.ratio\n3:7\n", r"has no column name"),
        ("name,name\na,b\n", r"has two columns 'name'"),
        ("name;;portion.ratio\na;x;3:7\n", r"^row 2 = 'x': is in a column without a key"),
        ("name\n", r"needs a first row of keys and a row for each piece"),
        ("name\n\n\n", r"needs a first row of keys"),
        ("", r"needs a first row of keys"),
        ('name\n"a', r"is no CSV table"),
        (b"\xff\xfen\x00a", r"is not text in UTF-8; save it as CSV in UTF-8"),
        (b"name\n" + b"x" * 1_000_001, r"is larger than 1 MB"),
    ],
)
def test_what_cannot_be_read_is_one_sentence_with_row_and_column(tmp_path, text, sentence):
    with pytest.raises(MouldError, match=sentence) as refused:
        read(tmp_path, text)
    assert str(refused.value).count("\n") == 0


def test_all_that_is_wrong_is_listed_row_by_row(tmp_path):
    with pytest.raises(MouldError) as refused:
        read(tmp_path, f"{HEADS}\na,-1,x\nb,-1,round\nc,x,y\n")
    assert [line.partition(" = ")[0] for line in str(refused.value).splitlines()] == [
        "row 2, column portion.finished_weight_g",
        "row 2, column pastry.outline",
        "row 3, column portion.finished_weight_g",
        "row 4, column portion.finished_weight_g",
        "row 4, column pastry.outline",
    ]


def test_a_toml_table_names_the_line_of_each_mistake(tmp_path):
    pieces = '[[pieces]]\nname = "a"\n\n[[pieces]]\nname = "b"\n[pieces.relief]\nlayers = [\n'
    with pytest.raises(MouldError) as refused:
        read(
            tmp_path,
            pieces + '{ pattern = "sun" },\n{ size_mm = -1, text = "x" },\n]\ndeep = 3\n',
            "a.toml",
        )
    assert [line.partition(":")[0] for line in str(refused.value).splitlines()] == [
        "line 9, piece 2, relief.layers.2.size_mm = -1",
        "line 11, piece 2, column relief.deep = 3",
    ]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('[[pieces]]\nname = "a"\nportin.x = 3\n', r"^line 3, piece 1, portin: is not a known key"),
        ("[[pieces]]\nname = 3\n", r"^line 2, piece 1, column name = 3: must be text in quotes"),
        (
            '[[pieces]]\nname = "a"\nportion = 3\n',
            r"^line 3, piece 1, column portion = 3: must be a table",
        ),
        ('[[pieces]]\nname = "a"\nportion.ratio.x = 1\n', r"names no place in a design"),
        ('[[pieces]]\nname = "a"\nrelief.layers.0.text = "x"\n', r"names no place in a design"),
        (
            "[[pieces]]\nportion.ratio = '3:7'\n",
            r"^line 1, piece 1, column name = '': is left empty",
        ),
        ("pieces = [1]\n", r"must hold tables in pieces"),
        ("name = 'a'\n", r"must hold one table \[\[pieces\]\] a piece and nothing else"),
        ("pieces = []\n", r"must hold between 1 and 5000 pieces"),
        ("[[pieces\n", r"is not TOML"),
    ],
)
def test_what_a_toml_table_gets_wrong_is_one_sentence(tmp_path, text, sentence):
    with pytest.raises(MouldError, match=sentence):
        read(tmp_path, text, "pieces.toml")


def test_a_table_that_is_not_there_is_said(tmp_path):
    with pytest.raises(MouldError, match=r"none.csv: cannot be read \(No such file"):
        read_series(tmp_path / "none.csv", BASE)
