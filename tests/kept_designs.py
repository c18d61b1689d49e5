"""The design files that tests share, of every kind of mould, and their builds."""

from functools import cache
from pathlib import Path

from moulddesign.building import build
from moulddesign.design import Design

FILES = {path.stem: path for path in sorted(Path(__file__).with_name("designs").glob("*.toml"))}
REAL = ("chestnut-75", "square-125", "little-30", "two-centres-250")
"""What real bakers asked for: 75 g round with a centre, 125 g square, 30 g, 250 g square."""
PRESS_PARTS = ("sleeve", "stamp", "plunger", "stop", "shim-0.4", "shim-0.8", "shim-1.6")
"""Parts of a press with one stamp, in their order, with usual layers."""


def kept(name):
    return Design.read(FILES[name])


@cache
def made_once(design):
    """Return the build of a design, with its findings: made once a process."""
    return build(design)


def built(name):
    return made_once(kept(name))
