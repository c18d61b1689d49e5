"""Drawings of others through a whole piece: sound, or refused in a sentence; some through a mould.

Half are drawn by chance; the other half are icons that installed packages bring along, and what
`MOULDDESIGN_DRAWINGS` names. They are read where they lie.
"""

import os
import random
import sysconfig
from collections import Counter
from pathlib import Path

import pytest
from soundness import outcome, read

from moulddesign.core import MouldError
from moulddesign.design import Design
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import figures

DRAWINGS = int(os.environ.get("MOULDDESIGN_DRAWINGS_BUILT", "40"))
EVERY = int(os.environ.get("MOULDDESIGN_FULL_BUILD_EVERY", "20"))
"""Of so many drawings one goes through a whole build with its findings."""
FOLDERS = (sysconfig.get_path("purelib"), "/usr/share", os.environ.get("MOULDDESIGN_DRAWINGS"))
SHAPES = ("circle", "rect", "path", "polygon", "curve", "arc", "text-like")


def element(chance):
    """Return one element of a drawing, as drawing programs write them."""

    def place():
        return round(chance.uniform(-5.0, 105.0), chance.choice([0, 1, 3]))

    points = " ".join(f"{place()},{place()}" for _ in range(chance.randint(3, 9)))
    body = {
        "circle": f'<circle cx="{place()}" cy="{place()}" r="{abs(place()) / 3}"',
        "rect": f'<rect x="{place()}" y="{place()}" width="{abs(place())}" height="20" rx="4"',
        "path": f'<path d="M{points}z"',
        "polygon": f'<polygon points="{points}"',
        "curve": f'<path d="M{place()} {place()}C{" ".join(str(place()) for _ in range(6))}S'
        f'{" ".join(str(place()) for _ in range(4))}"',
        "arc": f'<path d="M{place()} {place()}a{abs(place())} 20 7 0 1 {place()} {place()}"',
        "text-like": f'<path d="M{place()} {place()}h12v3h-4.5v20h-3v-20h-4.5z"',
    }[chance.choice(SHAPES)]
    width = chance.choice([0.2, 1, 2.5, 8])
    paint = chance.choice(
        ["", 'fill="#777"', f'fill="none" stroke="black" stroke-width="{width}"', 'fill="white"',
         f'stroke="#333" stroke-width="{width}" stroke-linejoin="round" fill-rule="evenodd"',
         f'fill="none" stroke="black" stroke-width="{width}" stroke-dasharray="7 3"']
    )  # fmt: skip
    turn = chance.choice(["", f'transform="rotate({place()} 50 50)"', 'transform="scale(.6 1.1)"'])
    return f"{body} {paint} {turn}/>"


def drawn(folder, number):
    chance = random.Random(number)  # noqa: S311 (a drawing, no secret)
    body = "".join(element(chance) for _ in range(chance.choice([1, 2, 5, 15, 40])))
    path = folder / f"{number}.svg"
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">{body}</svg>')
    return path


def found():
    """Return the installed drawings, mixed, the same in every run on one machine."""
    paths = sorted(p for name in FOLDERS if name for p in Path(name).rglob("*.svg") if p.is_file())
    random.Random(5).shuffle(paths)  # noqa: S311 (an order, no secret)
    return paths


def became(path, *, fully):
    """Return what became of a piece with a drawing on it; anything but a sentence is raised."""
    design = Design().with_values({"relief.layers": [{"pattern": str(path)}]})
    if fully:
        return outcome(design)
    try:
        made = pastry(design, figures(design).piece.volume_ml)
    except MouldError as error:
        said = str(error)
    else:
        assert read(made.mesh).is_watertight
        return "piece"
    assert said.endswith(".")
    assert "\n" not in said
    return "refused"


@pytest.mark.slow
def test_drawings_of_others_become_pieces_or_are_refused(tmp_path, capsys):
    others = found()[: DRAWINGS // 2]
    paths = [*others, *(drawn(tmp_path, number) for number in range(DRAWINGS - len(others)))]
    counts, broken = Counter(), []
    for number, path in enumerate(paths):
        try:
            said = became(path, fully=number % EVERY == 0)
            counts[said.partition(":")[0]] += 1
        except Exception as error:  # noqa: BLE001 (whatever it is, the drawing is named)
            broken.append(f"{path}: {error!r:.300}")
    with capsys.disabled():
        print(f"\n{len(others)} found, {len(paths)} in all: {dict(counts)}")  # noqa: T201
    assert not broken, "\n".join(broken)
