"""`moulddesign portion` as a person types it."""

import json
import re
import subprocess
import sys

import pytest
from cli.command import environment, moulddesign
from command_line import refused, run

HEAVY = (
    *("cadquery", "OCP", "manifold3d", "shapely", "trimesh", "scipy", "PIL", "skimage"),
    *("asyncio", "multiprocessing"),  # what makes several things at once loads them
    "importlib.metadata",  # what looks for plugins does
    *("moulddesign.export", "moulddesign.mould", "ezdxf", "lib3mf", "typst"),
)


NO_DESIGN = ("moulddesign.design", "rich.table")


@pytest.mark.parametrize(
    ("verb", "spared"),
    [
        ("portion --json", HEAVY),
        ("patterns --json", HEAVY),
        ("batch --pieces 40 --json", HEAVY),
        ("trial --raw 77 --finished 74 --raw 76 --finished 73 --json", ("numpy", *HEAVY)),
        ("example recipe", ("moulddesign.kitchen", *HEAVY)),
        ("--version", NO_DESIGN),
        ("mkae", NO_DESIGN),
    ],
)
def test_it_loads_no_heavy_library(verb, spared):
    code = (
        f"import sys; sys.argv = ['moulddesign', *{verb.split()}]\n"
        "from moulddesign.cli import main\n"
        "sys.stderr = None\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        f"print(sorted(set({spared}) & set(sys.modules)), file=sys.__stderr__)\n"
    )
    done = subprocess.run(  # noqa: S603 (our own command)
        [sys.executable, "-c", code],
        env=environment(),
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == "[]\n"


def test_json_is_all_there_is_on_stdout():
    code, said, remarks = moulddesign("portion", "--json", "--weight", "100", "--loss", "0")
    assert (code, remarks) == (0, "")
    report = json.loads(said)
    assert report["design"]["portion"]["finished_weight_g"] == 100.0
    piece = report["portion"]
    # 3:7 of 100 g, nothing lost.
    assert piece["crust_g"] == pytest.approx(30.0, rel=1e-12)
    assert piece["filling_g"] == pytest.approx(70.0, rel=1e-12)
    assert piece["paste_g"] + piece["centre_g"] == pytest.approx(70.0, rel=1e-12)


def test_options_override_the_file(monkeypatch, capsys, tmp_path):
    (tmp_path / "a.toml").write_text('[portion]\nfinished_weight_g = 50\nratio = "4:6"\n')
    file = tmp_path / "a.toml"
    _, said, _ = run(monkeypatch, capsys, "portion", file, "--weight", "60", "--json")
    portion = json.loads(said)["design"]["portion"]
    assert (portion["finished_weight_g"], portion["ratio"]) == (60.0, "4:6")


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--weight", "0"], r"finished_weight_g = 0.0: must be above 0 g\.$"),
        (["--weight", "-5"], r"finished_weight_g = -5.0: must be above 0 g\.$"),
        (["--weight", "nan"], r"--weight = 'nan': must be a number such as 12.5 g\.$"),
        (["--weight", "inf"], r"--weight = 'inf': must be a number such as 12.5 g\.$"),
        (["--weight", "1e9"], r"must be at most 5000 g\.$"),
        (["--weight", "heavy"], r"--weight = 'heavy': must be a number"),
        (["--ratio", "0:7"], r"ratio = '0:7': both parts must be above 0"),
        (["--ratio", "3:0"], r"ratio = '3:0': must have a filling; a piece without one is comp"),
        (["--ratio", "0.0:0"], r"both parts must be above 0"),
        (["--ratio", "3"], r"must be crust to filling such as 3:7 or 3/7"),
        (["--ratio", "3:7:1"], r"must be crust to filling such as 3:7 or 3/7"),
        (["--ratio", "-3:7"], r"must be crust to filling such as 3:7 or 3/7"),
        (["--ratio", "nan:1"], r"must be crust to filling such as 3:7 or 3/7"),
        (["--ratio", "9" * 400 + ":1"], r"ratio = '9{20}\.\.\.': must be a number"),
        (["--loss", "0.7"], r"portion.loss = 0.7: must be at most 0.6\.$"),
        (["--loss", "-0.1"], r"portion.loss = -0.1: must be at least 0\.$"),
        (["--loss", "nan"], r"must be a number such as 12.5\.$"),
        (["--crust-density", "0.1"], r"must be at least 0.2 g/mL\.$"),
        (["--crust-density", "3.1"], r"must be at most 3 g/mL\.$"),
        (["--filling-density", "0"], r"must be at least 0.2 g/mL\.$"),
        (["--filling-density", "inf"], r"must be a number such as 12.5 g/mL\.$"),
        (
            ["--centre-mass", "5", "--centre-density", "9"],
            r"centres.1.density_g_per_ml \(the first centre\) = 9.0: must be at most 3",
        ),
        (["--centre-mass", "70"], r"centres = '70 g': must weigh less than the filling of 53.57"),
        (
            ["--centre-mass", "-1"],
            r"centres.1.mass_g \(the first centre\) = -1.0: must be above 0 g\.$",
        ),
        (["--width", "0"], r"pastry.width_mm = 0.0: must be at least 1 mm\.$"),
        (
            ["--width", "1"],  # room of 1.5 mm on each side of the rolled piece
            r"^pastry.width_mm = 1.0: must be above 3 mm, twice portion.bore_room_mm; take a wider",
        ),
        (
            ["--height", "20"],
            r"^--height belongs to make, trial, firmness, oven, page",
        ),
        (["--name", "a/b"], r"name = 'a/b': must not hold '/', for it names files\.$"),
        (["--name", ".."], r"must not be empty, nor begin or end with"),
        (["--name", "con"], r"some systems keep for a device"),
        (["--wieght", "75"], r"No such option: --wieght.*--weight"),
        (["no-such.toml"], r"no-such.toml: cannot be read \(No such file or directory\)\.$"),
    ],
)
def test_bad_input_gets_one_sentence(monkeypatch, capsys, arguments, sentence):
    said = refused(monkeypatch, capsys, "portion", *arguments)
    assert re.search(sentence, said), said


FILES = {
    "unknown key": (b"[portion]\nweigth_g = 5\n", r"weigth_g = 5: is not a known key; the near"),
    "unknown table": (b"[prtion]\n", r"prtion = '\(a table\)': is not a known key; .* portion"),
    "not TOML": (b"portion = = 5\n", r"is not TOML: Invalid value"),
    "not UTF-8": (b'name = "\xe4"\n', r"is not text in UTF-8; save it as UTF-8\.$"),
    "another encoding": ('name = "ä"'.encode("utf-16"), r"is not text in UTF-8"),
    "text for a number": (b'[portion]\nloss = "much"\n', r"loss = 'much': must be a number such"),
    "truth for a number": (b"[portion]\nloss = true\n", r"loss = True: must be a number"),
    "a day for a number": (b"[portion]\nloss = 2026-01-01\n", r"must be a number without quotes"),
    "number for text": (b"name = 5\n", r"name = 5: must be text in quotes\.$"),
    "number for a table": (b"portion = 5\n", r"portion = 5: must be a table of keys\.$"),
    "number for a list": (b"[portion]\ncentres = 5\n", r"centres = 5: must be a list\.$"),
    "NaN": (b"[portion]\nloss = nan\n", r"loss = nan: must be a finite number\.$"),
    "half a centre": (b"[[portion.centres]]\ncount = 0.5\n", r"centre\) = 0.5: must be a whole"),
    "a bed without room": (b"[printer]\nbed_mm = [0, 1, 1]\n", r"must be three lengths above 0 mm"),
    "a bed of two sides": (b"[printer]\nbed_mm = [9, 9]\n", r"bed_mm = .*must be three lengths"),
    "endless digits": (b"name = " + b"9" * 5000, r"is not TOML: Exceeds the limit"),
    "many digits": (b"[portion]\nloss = " + b"9" * 400, r"loss = '9{20}\.\.\.': must be"),
    "endless nesting": (b"name = " + b"[" * 90_000, r"nests its lists and tables too deep\.$"),
    "a huge file": (b"# " + b"x" * 1_000_000, r"is larger than 1 MB, the limit; a file of this"),
    "a NUL": (b'name = "a\x00b"', r"is not TOML"),
}  # fmt: skip


@pytest.mark.parametrize("kind", FILES)
def test_a_bad_design_file_gets_one_sentence(monkeypatch, capsys, tmp_path, kind):
    content, sentence = FILES[kind]
    (tmp_path / "design.toml").write_bytes(content)
    said = refused(monkeypatch, capsys, "portion", tmp_path / "design.toml")
    assert re.search(sentence, said), said


def test_all_mistakes_of_a_file_are_listed_with_their_lines(monkeypatch, capsys, tmp_path):
    file = tmp_path / "cake.toml"
    file.write_text(
        "[portion]\nloss = 9\nratio = 5\n\n[pastry]\nwidht_mm = 40\n\n[[portion.centres]]\n"
        "mass_g = 5\n[[portion.centres]]\nname = 'date'\nmass_g = -5\n"
    )
    code, said, told = run(monkeypatch, capsys, "portion", file)
    assert (code, said) == (2, "")
    assert [line.partition(" = ")[0].strip() for line in told.splitlines()] == [
        f"{file} holds 4 mistakes:",
        "line 2: portion.loss",
        "line 3: portion.ratio",
        "line 6: pastry.widht_mm",
        "line 12: portion.centres.2.mass_g (the second centre)",
    ]


def test_a_folder_is_no_design_file(monkeypatch, capsys, tmp_path):
    assert refused(monkeypatch, capsys, "portion", tmp_path).endswith(
        "is a folder; name a file in it."
    )


@pytest.mark.parametrize("content", [b"", b"\xef\xbb\xbfname = 'marked'\r\n", b"# nothing\n"])
def test_an_empty_file_or_one_with_a_byte_order_mark_is_a_design(
    monkeypatch, capsys, tmp_path, content
):
    (tmp_path / "design.toml").write_bytes(content)
    code, _, remarks = run(monkeypatch, capsys, "portion", tmp_path / "design.toml")
    assert (code, remarks) == (0, "")


@pytest.mark.parametrize("form", [[], ["--json"]])
def test_a_console_without_the_letter_is_no_reason_to_stop(form):
    code, said, _ = moulddesign(
        "portion", "--name", "Kürbis 月", *form, PYTHONIOENCODING="ascii", PYTHONUTF8="0"
    )
    assert code == 0
    if form:
        assert json.loads(said)["design"]["name"] == "Kürbis 月"
    else:
        assert r"K\xfcrbis" in said


def test_without_a_terminal_there_is_no_colour():
    _, said, _ = moulddesign("portion", FORCE_COLOR="")
    assert "\x1b" not in said
