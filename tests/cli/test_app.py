import json
import shlex
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
from cli.command import COMMAND, environment
from command_line import ran, run

from moulddesign import __version__
from moulddesign.cli.app import HELP, command_line
from moulddesign.cli.usage import Verb
from moulddesign.design import library

VERBS = sorted(name for name, each in command_line().commands.items() if isinstance(each, Verb))


@cache
def help_of(verb):
    return ran(verb, "--help", folder=Path(__file__).parent)


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_explains_itself_with_an_example(verb):
    code, said, _ = help_of(verb)
    assert code == 0
    assert "Example" in said
    assert "--json" in said


def test_the_help_says_of_each_verb_what_its_own_help_says():
    assert list(HELP) == list(command_line().commands)
    for verb, each in command_line().commands.items():
        assert HELP[verb] == each.help.partition("\n\n")[0].replace("\n", " ")


def test_without_a_verb_there_is_help(monkeypatch, capsys):
    code, said, remarks = run(monkeypatch, capsys)
    assert (code, remarks) == (0, "")
    assert all(verb in said for verb in VERBS)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["mkae"], "No such command 'mkae'"),
        (["make", "--wdth", "3"], "No such option: --wdth"),
        (["make", "a.toml", "b.toml"], "unexpected extra argument"),
        (["portion", "--weight"], "requires an argument. Try: moulddesign --help"),
        (["portoin"], "Did you mean 'portion'? Try: moulddesign --help"),
        (["portion", "--weight", "1,250"], "--weight = '1,250': could be 1250 or 1.250; write it"),
        (["portion", "--weight", "2in"], "must be in g, kg, mg, oz, lb, or without a unit."),
        (["density", "cup", "--cup-water", "5 mL"], "--cup-water = '5 mL': must be in g, kg"),
        (["make", "--bed", "1,100 x 3 x 4"], "bed_mm = '1,100 x 3 x 4': could be 1100 or 1.100"),
        (["make", "--bed", "220x220"], "bed_mm = [220.0, 220.0]: must be three lengths above 0 mm"),
        (["make", "n" * 300], "nnn...nnn"),
        (["inspect", "n" * 300 + ".stl"], "nnn...nnn"),
        (["make", "--outline", "no.svg"], "no.svg: cannot be read"),
        (["make", "leaf.svg"], "make --pattern leaf.svg puts it on top"),
        (["--version", "make"], "--version does nothing before make"),
        (["batch", "--pieces", "2.5"], "--pieces = '2.5': must be a whole number such as 12"),
        (["fit", "--tool", "thumb"], "--tool = 'thumb': must be one of 'ruler', 'caliper'."),
        (
            ["density", "cup", "--cup-water", "a lot"],
            "--cup-water = 'a lot': must be a number such as 12.5 g.",
        ),
        (["page", "--port", "70000"], "--port = '70000': must be at most 65535."),
    ],
)
def test_a_usage_error_gets_one_sentence(monkeypatch, capsys, arguments, sentence):
    code, said, remarks = run(monkeypatch, capsys, *arguments)
    assert (code, said) == (2, "")
    assert sentence in remarks
    assert remarks.count("\n") == 1


def test_the_version_is_the_package_s(monkeypatch, capsys):
    assert run(monkeypatch, capsys, "--version") == (0, f"moulddesign {__version__}\n", "")


@pytest.mark.parametrize(
    ("arguments", "values"),
    [
        # NIST Special Publication 811 (2008), appendix B.8: ounce and inch.
        (["--weight", "2.4 oz"], {"finished_weight_g": 2.4 * 28.349523125}),
        (["--weight=68g"], {"finished_weight_g": 68.0}),
        (["--weight", "68,5", "--loss", "2 %"], {"finished_weight_g": 68.5, "loss": 0.02}),
        (["--ratio", "3/7"], {"ratio": "3:7"}),
        (["--ratio", "30 %"], {"ratio": "30:70"}),
    ],
)
def test_numbers_are_taken_as_people_type_them(monkeypatch, capsys, arguments, values):
    code, said, remarks = run(monkeypatch, capsys, "portion", *arguments, "--json")
    assert code == 0
    portion = json.loads(said)["design"]["portion"]
    assert {key: portion[key] for key in values} == pytest.approx(values)
    assert ("crust to filling 30:70" in remarks) == ("30 %" in arguments)


def test_ounces_and_inches_are_added_where_they_are_asked_for(monkeypatch, capsys):
    arguments = ("portion", "--weight", "100", "--centre-mass", "0")
    _, metric, _ = run(monkeypatch, capsys, *arguments)
    _, said, _ = run(monkeypatch, capsys, *arguments, "--units", "us")
    (finished,) = [line for line in said.splitlines() if "finished" in line and "100.0" in line]
    assert "3.53" in finished  # 100 g / 28.349523125 g, NIST SP 811 B.8
    assert "oz" not in metric


def test_the_folder_of_a_build_stands_for_its_design(monkeypatch, capsys, tmp_path):
    (tmp_path / "design.toml").write_text('[portion]\nfinished_weight_g = "51 g"\n')
    _, said, _ = run(monkeypatch, capsys, "portion", tmp_path, "--json")
    assert json.loads(said)["design"]["portion"]["finished_weight_g"] == 51.0
    (tmp_path / "design.toml").unlink()
    assert "is a folder; name a file in it" in run(monkeypatch, capsys, "portion", tmp_path)[2]


def test_a_drawing_after_patterns_is_checked(monkeypatch, capsys):
    leaf = Path(__file__).parents[1] / "designs" / "leaf.svg"
    outcomes = [
        run(monkeypatch, capsys, "patterns", *check, leaf, "--json") for check in ([], ["check"])
    ]
    assert outcomes[0] == outcomes[1]
    assert json.loads(outcomes[0][1])["regions"]


def test_printers_and_materials_are_listed(monkeypatch, capsys):
    code, said, _ = run(monkeypatch, capsys, "printers", "--json")
    listed = json.loads(said)
    bundled = library(None)
    assert code == 0
    assert [each["name"] for each in listed["printers"]] == list(bundled.machines)
    assert [each["name"] for each in listed["materials"]] == list(bundled.materials)
    _, shown, _ = run(monkeypatch, capsys, "printers")
    assert "220 x 220 x 250" in shown


@pytest.mark.parametrize("verb", VERBS)
def test_no_help_loses_words_in_brackets_to_markup(verb):
    # rich reads [word] as markup and drops it
    _, said, _ = help_of(verb)
    assert "[]" not in said


STRUCK = """
import os, signal, sys
class Struck:
    def find_spec(self, name, *_):
        if name == {module!r}:
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Struck())
sys.argv = ["moulddesign", *{arguments!r}]
from moulddesign.cli import main
main()
"""


LOADED = ("pydantic", "rich.console", "numpy.lib", "shapely")
STARTED = (["patterns"], ["coupon"], ["fit", "--mesh", "x.stl"], ["inspect", "x.stl"])


@pytest.mark.parametrize(
    ("module", "arguments"),
    [
        pytest.param(module, arguments, marks=[] if n == m else pytest.mark.slow)
        for n, module in enumerate(LOADED)
        for m, arguments in enumerate(STARTED)
    ],
)
def test_ctrl_c_while_libraries_load_is_130_and_no_word(tmp_path, module, arguments):
    # 128 + SIGINT (2), as a shell says it
    code = STRUCK.format(module=module, arguments=arguments)
    done = subprocess.run(  # noqa: S603 (our own command)
        [sys.executable, "-c", code],
        cwd=tmp_path, env=environment(), capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "")
    assert not any(tmp_path.iterdir())


@pytest.mark.parametrize(
    "arguments",
    [["portion"], ["make", "--schema"], pytest.param(["density", "foods"], marks=pytest.mark.slow)],
)
def test_output_to_a_full_disk_is_one_sentence(arguments):
    # full(4) of Linux: every write to /dev/full says ENOSPC
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(  # noqa: S603 (our own command)
            [*COMMAND, *arguments], env=environment(), stdout=full, stderr=subprocess.PIPE,
            text=True, timeout=60, check=False,
        )  # fmt: skip
    said = "The output cannot be written (No space left on device).\n"
    assert (done.returncode, done.stderr) == (1, said)


SHELL = shutil.which("sh")


@pytest.mark.skipif(SHELL is None, reason="no shell to close a stream with")
@pytest.mark.parametrize(
    ("arguments", "closed", "code"),
    [
        ("portion --json", ">&-", 0),
        pytest.param("make --schema", ">&-", 0, marks=pytest.mark.slow),
        ("density foods", "2>&-", 0),
        ("portion --weight x", "2>&-", 2),
        pytest.param("portion --weight 0", "2>&-", 2, marks=pytest.mark.slow),
        ("portion --weight 0", "2>/dev/full", 2),
    ],
)
def test_a_closed_or_full_stream_changes_no_exit_code(arguments, closed, code):
    command = f"{shlex.join(COMMAND)} {arguments} {closed}"
    done = subprocess.run(  # noqa: S603 (our own command)
        [SHELL, "-c", command], env=environment(), capture_output=True, text=True, timeout=60,
        check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (code, "")


@pytest.mark.skipif(SHELL is None, reason="no shell to take its own folder away in")
def test_a_working_folder_that_is_gone_is_one_sentence(tmp_path):
    verb = shlex.join([*COMMAND, "patterns", "check", "leaf.svg"])
    done = subprocess.run(  # noqa: S603 (our own command)
        [SHELL, "-c", f"mkdir gone; cd gone; rmdir ../gone; {verb}"], cwd=tmp_path,
        env=environment(), capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    said = "The folder that this was started in is gone; change to another.\n"
    assert (done.returncode, done.stderr) == (1, said)


@pytest.mark.parametrize("columns", ["0", "1", "20", "40", "60", "80"])
def test_no_figure_of_a_table_is_broken_or_cut(monkeypatch, capsys, columns):
    _, said, _ = run(monkeypatch, capsys, "portion", columns=columns)
    # The demo by hand: R raw, 0.3 R crust, which loses (0.147 - 0.07) / 0.93 of itself, and
    # 0.7 R - 5 g paste, which loses (0.32 - 0.31) / 0.69; what is left is 75 g, so R = 77.64 g.
    assert all(f" {figure} " in said for figure in ("77.64", "23.29", "49.35", "75.00"))
    assert "…" not in said


def test_a_terminal_command_in_a_file_is_shown_and_not_obeyed(monkeypatch, capsys, tmp_path):
    (tmp_path / "cakes.toml").write_text('[portion]\n"a\\u001b[31mb" = 1\n')
    monkeypatch.chdir(tmp_path)
    code, _, remarks = run(monkeypatch, capsys, "portion", "cakes.toml")
    assert code == 2
    assert "portion.a\\x1b[31mb = 1: is not a known key" in remarks


ENDED = """
import atexit, sys
from moulddesign import cli
def later():
    atexit.register(print, "cleaned")
    {end}
cli.main = later
cli.program()
"""


@pytest.mark.parametrize(
    ("end", "code", "said"),
    [
        ("sys.exit(2)", 2, []),
        ("sys.exit('no')", 1, ["no"]),
        ("1 / 0", 1, ["ZeroDivisionError: division by zero"]),
    ],
)
def test_a_program_that_ends_at_once_cleans_up_and_keeps_its_code(end, code, said):
    # The Python Library Reference on sys.exit and atexit
    done = subprocess.run(  # noqa: S603 (our own command)
        [sys.executable, "-c", ENDED.format(end=end)],
        env=environment(), capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (code, "cleaned\n")
    assert done.stderr.splitlines()[-1:] == said


ASKED_FOR_MORE = """
import sys
sys.argv = ["moulddesign", "--version"]
from moulddesign.cli import main
try: main()
except SystemExit: pass
from pydantic.plugin._loader import PYDANTIC_ENTRY_POINT_GROUP, get_plugins
print(PYDANTIC_ENTRY_POINT_GROUP, tuple(get_plugins()))
"""


def test_a_version_of_pydantic_that_asks_the_stand_in_for_more_gets_it():
    done = subprocess.run(  # noqa: S603 (our own command)
        [sys.executable, "-c", ASKED_FOR_MORE],
        env=environment(), capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert done.stdout.splitlines()[-1] == "pydantic ()"


def test_all_output_of_a_program_reaches_a_pipe():
    done = subprocess.run(
        [sys.executable, "-m", "moulddesign", "make", "--schema"],
        env=environment(), capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    assert json.loads(done.stdout)
