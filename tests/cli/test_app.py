import shlex
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
from cli.command import COMMAND, environment, moulddesign
from command_line import run

from moulddesign.cli.app import app

VERBS = sorted(command.name for command in app.registered_commands)


@cache
def help_of(verb):
    return moulddesign(verb, "--help")


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_explains_itself_with_an_example(verb):
    code, said, _ = help_of(verb)
    assert code == 0
    assert "Example" in said
    assert "--json" in said


def test_without_a_verb_there_is_help():
    code, said, remarks = moulddesign()
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
        (
            ["portion", "--weight", "50,5"],
            "--weight = '50,5': must be a number such as 12.5, with a point and without its unit.",
        ),
        (["batch", "--pieces", "2.5"], "--pieces = '2.5': must be a whole number such as 12"),
        (["fit", "--tool", "thumb"], "--tool = 'thumb': must be one of 'ruler', 'caliper'."),
        (
            ["density", "cup", "--cup-water", "a lot"],
            "without its unit. Try: moulddesign density cup --help",
        ),
        (["page", "--port", "70000"], "--port = '70000': must be at most 65535."),
    ],
)
def test_a_usage_error_gets_one_sentence(monkeypatch, capsys, arguments, sentence):
    code, said, remarks = run(monkeypatch, capsys, *arguments)
    assert (code, said) == (2, "")
    assert sentence in remarks
    assert remarks.count("\n") == 1


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


@pytest.mark.parametrize("arguments", [["portion"], ["make", "--schema"], ["density", "foods"]])
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
        ("make --schema", ">&-", 0),
        ("density foods", "2>&-", 0),
        ("portion --weight x", "2>&-", 2),
        ("portion --weight 0", "2>&-", 2),
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
def test_no_figure_of_a_table_is_broken_or_cut(columns):
    _, said, _ = moulddesign("portion", COLUMNS=columns)
    # the demo by hand: 75 / 0.98 raw, 0.3 of it crust, 0.7 of it filling less 5 g
    assert all(f" {figure} " in said for figure in ("76.53", "22.96", "48.57", "75.00"))
    assert "…" not in said


def test_a_terminal_command_in_a_file_is_shown_and_not_obeyed(tmp_path):
    (tmp_path / "cakes.toml").write_text('[portion]\n"a\\u001b[31mb" = 1\n')
    code, _, remarks = moulddesign("portion", "cakes.toml", folder=tmp_path)
    assert code == 2
    assert remarks.startswith("portion.a\\x1b[31mb = 1: is not a known key")
