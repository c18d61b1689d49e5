import pytest

from moulddesign.core import FileError, MouldError, SpecError
from moulddesign.kitchen.trial import Weighing, read_weighings, typed_weighings

EXPECTED = (
    Weighing(raw_g=77.0, finished_g=74.2, height_mm=20.5),
    Weighing(raw_g=76.5, finished_g=73.8),
)
POINTS = "raw_g,finished_g,height_mm\n77.0,74.2,20.5\n76.5,73.8,\n"
COMMAS = "raw_g;finished_g;height_mm\n77,0;74,2;20,5\n76,5;73,8;\n"
QUOTED = 'raw_g,finished_g,height_mm\n"77,0","74,2","20,5"\n"76,5","73,8",\n'


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(POINTS, id="points"),
        pytest.param(COMMAS, id="decimal commas and semicolons"),
        pytest.param(COMMAS.replace(";", "\t"), id="decimal commas and tabs"),
        pytest.param(POINTS.replace("\n", "\r\n"), id="line ends of another system"),
        pytest.param("\n" + POINTS.replace("raw_g", " Raw_G ") + "\n\n", id="spaces, empty lines"),
        pytest.param(
            "height_mm;note;finished_g;raw_g\n20,5;burnt;74,2;77\n;;73,8;76,5\n",
            id="other order and a column more",
        ),
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_csv_is_read_rightly(tmp_path, text, encoding):
    file = tmp_path / "trial.csv"
    file.write_bytes(text.encode(encoding))
    assert read_weighings(file) == EXPECTED


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "needs a head"),
        ("raw_g,finished_g\n", "needs a head"),
        ("raw,finished_g\n1,1\n", "first row with raw_g, and has raw, finished_g"),
        (
            "raw_g,finished_g\n77,0,74,2\n",
            "line 2: cells = 4: must be as many as the 2 of the head; where decimals",
        ),
        ("raw_g,finished_g\n77,\n", "line 2: finished_g = '': is missing; weigh"),
        ("raw_g,finished_g\n\n77,seventy\n", "line 3: finished_g = 'seventy': must be a number"),
        ("raw_g,finished_g\nnan,7\n", "line 2: raw_g = 'nan': must be a number"),
        ("raw_g;finished_g\n1.077,0;7\n", "raw_g = '1.077,0': must be in g"),
        (QUOTED, "raw_g = '77,0': has a comma, which separates the cells of this table"),
        ("raw_g;finished_g\n1,250;1\n", "raw_g = '1,250': could be 1250 or 1.250"),
        ("raw_g,finished_g\n70,71\n", "line 2: finished_g = 71.0: .*does not gain weight"),
        ("raw_g,finished_g\n-70,7\n", "line 2: raw_g = -70.0: must be a finite number above 0 g"),
        ('raw_g,finished_g\n"70,7\n', "is no CSV table"),
    ],
)
def test_csv_that_cannot_be_is_refused(tmp_path, text, sentence):
    file = tmp_path / "trial.csv"
    file.write_text(text)
    with pytest.raises(MouldError, match=sentence):
        read_weighings(file)


def test_comments_above_the_heads_are_passed_over_and_counted(tmp_path):
    file = tmp_path / "trial.csv"
    file.write_text('# a "trial" of ours; two pieces\n\n#\nraw_g,finished_g\n77,74\n#1,2\nx,y\n')
    with pytest.raises(MouldError) as caught:
        read_weighings(file)
    lines = [line.partition(" = ")[0].strip() for line in str(caught.value).splitlines()[1:]]
    assert lines == ["line 6: raw_g", "line 7: raw_g", "line 7: finished_g"]


def test_csv_that_is_no_text_is_refused(tmp_path):
    file = tmp_path / "trial.csv"
    file.write_bytes(b"raw_g,finished_g\n\xe4\xf6\xfc,1\n")
    with pytest.raises(FileError, match="is not text in UTF-8"):
        read_weighings(file)


def test_csv_that_is_too_large_or_missing_is_refused(tmp_path):
    file = tmp_path / "trial.csv"
    with pytest.raises(FileError, match="cannot be read"):
        read_weighings(file)
    file.write_bytes(b"1" * 1_000_001)
    with pytest.raises(FileError, match="is larger than 1 MB"):
        read_weighings(file)


def test_typed_weighings_belong_together():
    assert typed_weighings([77.0], [74.2], [20.5]) == EXPECTED[:1]
    with pytest.raises(SpecError, match="2 raw, 1 finished, 0 heights"):
        typed_weighings([77.0, 76.0], [74.2])
    with pytest.raises(SpecError, match="2 raw, 2 finished, 1 heights"):
        typed_weighings([77.0, 76.0], [74.2, 73.0], [20.0])
    with pytest.raises(SpecError, match=r"piece 2 finished_g = 78.0: .*does not gain weight"):
        typed_weighings([77.0, 70.0], [75.0, 78.0])
    with pytest.raises(SpecError, match=r"piece 1 height_mm = 0.0: must be a finite"):
        typed_weighings([77.0], [75.0], [0.0])
    with pytest.raises(SpecError, match="1 raw, 1 finished, 0 heights, 2 released heights"):
        typed_weighings([77.0], [75.0], [], [20.0, 21.0])
