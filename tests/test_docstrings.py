"""A name's unit suffix and the `[unit]` in its docstring must agree, in every public function."""

import inspect
import pkgutil
import re
from importlib import import_module

import pytest

import moulddesign

UNITS = {
    "_g_per_ml": "g/mL",
    "_ml_per_g": "mL/g",
    "_mm3_per_s": "mm^3/s",
    "_mm_per_s": "mm/s",
    "_mm2": "mm^2",
    "_mm3": "mm^3",
    "_mm": "mm",
    "_ml": "mL",
    "_kg": "kg",
    "_g": "g",
    "_deg": "deg",
    "_rad": "rad",
    "_mpa": "MPa",
    "_gpa": "GPa",
    "_n": "N",
    "_s": "s",
}
ENTRY = re.compile(r"^(?P<names>[\w*]+(?:, [\w*]+)*) : .+$", re.MULTILINE)


def unit_of(name):
    """Return the unit that a name's suffix states, or None."""
    found = [suffix for suffix in UNITS if name.endswith(suffix)]
    return UNITS[max(found, key=len)] if found else None


def entries(docstring):
    """Yield the names of each entry of a docstring, with the text below it."""
    matches = list(ENTRY.finditer(docstring))
    ends = [match.start() for match in matches[1:]] + [len(docstring)]
    for match, end in zip(matches, ends, strict=True):
        text = re.split(r"\n\n(?=\w+\n-{3,})", docstring[match.end() : end])[0]
        yield match["names"].split(", "), text


def documented():
    """Return every public function, method and class of the package that has entries."""
    found = {}
    for info in pkgutil.walk_packages(moulddesign.__path__, "moulddesign."):
        if info.name.endswith("__main__"):
            continue
        module = import_module(info.name)
        for name, thing in vars(module).items():
            if name.startswith("_") or getattr(thing, "__module__", "") != info.name:
                continue
            found[f"{info.name}.{name}"] = thing
            if inspect.isclass(thing):
                methods = inspect.getmembers(thing, inspect.isfunction)
                found |= {f"{info.name}.{name}.{n}": m for n, m in methods if n[0] != "_"}
    return {name: inspect.getdoc(thing) or "" for name, thing in found.items()}


DOCUMENTED = {name: text for name, text in documented().items() if ENTRY.search(text)}


@pytest.mark.parametrize("name", DOCUMENTED)
def test_suffix_and_unit_agree(name):
    for names, text in entries(DOCUMENTED[name]):
        for unit in filter(None, map(unit_of, names)):
            assert f"[{unit}]" in text, (
                f"{', '.join(names)} is in {unit}, and its entry says {text}"
            )


def returned_units(docstring):
    """Return the units that the Returns section states; a footnote's mark is none."""
    return re.findall(r"\[(?!\d)([^\]\s]+)\](?!_)", docstring.partition("Returns\n-------")[2])


@pytest.mark.parametrize("name", [n for n in DOCUMENTED if returned_units(DOCUMENTED[n])])
def test_a_function_named_for_a_unit_returns_it(name):
    unit = unit_of(name.partition("_from_")[0])
    assert unit is None or unit in returned_units(DOCUMENTED[name])


def test_the_rule_would_notice_a_slip():
    slip = "Parameters\n----------\nwidth_mm : float\n    Width [cm].\n"
    ((names, text),) = entries(slip)
    assert unit_of(names[0]) == "mm"
    assert "[mm]" not in text
    assert len(DOCUMENTED) > 50
