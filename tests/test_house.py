"""The shape of the package: where a reader finds a thing, and that its name means one thing."""

import ast
import importlib
import re
from collections import defaultdict
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import pytest

import moulddesign

PACKAGE = Path(moulddesign.__file__).parent
ROOMS = sorted(path.parent.name for path in PACKAGE.glob("*/__init__.py"))
MODULES = sorted(
    path for path in PACKAGE.rglob("*.py") if path.name not in {"__init__.py", "__main__.py"}
)
SHORT: dict[str, str] = {}
"""Modules of less than 60 lines, each with the reason why it stands alone."""
ONE_INTERFACE = {"cad_kernel", "faceted"}
"""Modules with the same functions on purpose: bodies are drawn by either, exact or as facets."""


@cache
def tree(path):
    return ast.parse(path.read_text(encoding="utf-8"))


def lines(path):
    return len(path.read_text(encoding="utf-8").splitlines())


def definitions(path):
    """Yield the name of each function and class of a module, and of each constant and type."""
    for node in tree(path).body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node.name, True
        elif isinstance(node, ast.Assign):
            yield from ((target.id, False) for target in node.targets)
        elif isinstance(node, ast.AnnAssign):
            yield node.target.id, False


@cache
def imported():
    """Return the names that some module takes from another one of the package."""
    return {
        (node.module.rpartition(".")[2], alias.name)
        for path in [*MODULES, *PACKAGE.rglob("__init__.py")]
        for node in ast.walk(tree(path))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("moulddesign.")
        for alias in node.names
    }


def public():
    """Return where each public name is defined: a constant is public if other modules use it."""
    places = defaultdict(set)
    for path in MODULES:
        for name, is_body in definitions(path):
            if not name.startswith("_") and (is_body or (path.stem, name) in imported()):
                places[name].add(path.stem)
    return places


def test_a_file_name_occurs_once():
    names = [path.name for path in MODULES]
    assert {name for name in names if names.count(name) > 1} == set()


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_a_module_is_of_the_size_at_which_one_looks_for_it(path):
    assert lines(path) <= 600
    assert lines(path) >= 60 or path.stem in SHORT


def test_no_reason_outlives_its_short_module():
    assert set(SHORT) <= {path.stem for path in MODULES if lines(path) < 60}


def test_a_public_name_is_defined_once():
    twice = {name: places for name, places in public().items() if len(places) > 1}
    assert {name: places for name, places in twice.items() if places != ONE_INTERFACE} == {}


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_says_what_each_of_its_files_holds(room):
    said = ast.get_docstring(ast.parse((PACKAGE / room / "__init__.py").read_text("utf-8"))) or ""
    files = {path.stem for path in MODULES if path.parent.name == room}
    assert set(re.findall(r"^- `(\w+)`: \S", said, re.MULTILINE)) == files


def test_rooms_hold_all_modules_but_those_at_the_top():
    assert {path.parent.name for path in MODULES} - set(ROOMS) <= {PACKAGE.name}


TESTS = sorted(Path(__file__).parent.rglob("*.py"))
TAKEN = re.compile(r"from (moulddesign[\w.]*) import (\w+)\b")


@pytest.mark.parametrize("path", TESTS, ids=lambda path: path.stem)
def test_what_a_test_takes_is_there_even_where_its_program_is_a_string(path):
    for module, name in TAKEN.findall(path.read_text(encoding="utf-8")):
        there = importlib.import_module(module)
        assert hasattr(there, name) or find_spec(f"{module}.{name}"), f"{module}.{name}"
