"""Writes the corpus: the smallest file that we could draw for every input that ever failed.

Usage: python make_corpus.py
What each did wrong stands beside it. Run it after adding one; the files are committed.
"""

import random
import sys
from pathlib import Path
from struct import pack

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from cli.test_bad_meshes import CUBE, model_bytes, ply_bytes, stl_bytes
from load.mutate import archived
from PIL import Image

CORPUS = Path(__file__).with_name("corpus")
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 100">'
CORNERS, FACES = np.array(CUBE.vertices), CUBE.faces


def drawings():
    chance = random.Random(7)  # noqa: S311 (a scribble, no secret)

    def place():
        return f"{chance.uniform(0, 100):.0f} {chance.uniform(0, 100):.0f}"

    def shape(clip):
        return f'<path d="M1 1H9V9z" clip-path="url(#{clip})"/>'

    # Each clip path has two shapes that are clipped by the next one: 2^40 of them.
    inside = "".join(f'<clipPath id="c{n}">{shape(f"c{n + 1}") * 2}</clipPath>' for n in range(40))
    last = '<clipPath id="c40"><path d="M1 1H9V9z"/></clipPath>'
    yield "clip-paths-twice-forty-deep", inside + last + shape("c0")
    # It clips itself, twice.
    yield "clip-path-in-itself-twice", f'<clipPath id="c">{shape("c") * 2}</clipPath>{shape("c")}'
    # 3,000 curves that cross all others: outlined, they took ten seconds before they were refused.
    curves = " ".join(f"{place()} {place()} {place()}" for _ in range(3000))
    yield "scribbled-curves", f'<path fill="none" stroke="#000" d="M0 0C{curves}"/>'
    # A line each: their crossings were counted only after all were drawn.
    lines = "".join(f'<path stroke="#000" d="M{place()}L{place()}"/>' for _ in range(3000))
    yield "scribbled-lines-one-by-one", lines
    # What paints nothing costs no points: 3,000 copies of 2,000 numbers were read to the end.
    path = f'<path id="a" fill="none" d="M0 0{"h1" * 2000}"/>'
    tens = "".join(f'<g id="{n}">{f"""<use href="#{o}"/>""" * 10}</g>' for o, n in ("ab", "bc"))
    yield "copies-that-paint-nothing", f'<defs>{path}{tens}</defs>{"""<use href="#c"/>""" * 30}'
    # The parser of selectors calls itself for each of them.
    yield "combined-selectors", f"<style>{'g ' * 1200}{{fill:red}}</style><g/>"
    # The sentence repeated all of it.
    yield "path-of-one-long-word", f'<path d="M0 0{"1" * 1000}"/>'


def pieces():
    # Where its stroke crosses itself corners lie close on one line, and what parted them again
    # made facets without area.
    corners = "67,98 38,73 69,66 54,29 96,10 81,49 13,36 78,67 29,40"
    yield "crossed-star", f'<polygon points="{corners}" fill="none" stroke="#000"/>'


def tables():
    # One pass over all known keys for each of them.
    yield "unknown-keys", "".join(f"k{n} = 1\n" for n in range(2000))
    yield "long-key", f"{'k' * 5000} = 1\n"
    # Python refuses to print so many digits.
    yield "endless-number", f"[portion]\nfinished_weight_g = {'9' * 4000}\n"
    yield "endless-hexadecimal-number", f"name = 0x{'f' * 4000}\n"
    yield "long-text-for-a-number", f'[portion]\nfinished_weight_g = "{"9" * 5000}x"\n'
    yield "key-of-many-dots", f"{'.'.join('a' * 5000)} = 1\n"
    yield "recipe-unknown-keys", "".join(f"k{n} = 1\n" for n in range(2000))


def meshes():
    # float32 has numbers that signal when they are converted: the array library printed a warning.
    whole = bytearray(stl_bytes(CORNERS, FACES))
    whole[100:104] = pack("<I", 0x7F800001)
    yield "signalling-number.stl", bytes(whole)
    yield (
        "corner-of-no-integer.ply",
        ply_bytes(CORNERS, FACES).replace(b"\n3 1 3 0", b"\n3 nan 3 0"),
    )
    damaged = bytearray(archived(model_bytes(CORNERS, FACES)))
    damaged[120] ^= 8
    yield "flipped-bit.3mf", bytes(damaged)
    item = b'<item objectid="1"'
    wild = b"1e308 1e308 nan 1e308 inf 0 0 0 1e308 0 0 1e308"
    model = model_bytes(CORNERS, FACES).replace(item, item + b' transform="' + wild + b'"')
    yield "wild-transform.3mf", archived(model)
    model = model_bytes(CORNERS, FACES).replace(b'objectid="1"', b'objectid="%s"' % (b"z" * 5000))
    yield "long-name-of-an-object.3mf", archived(model)


def fonts():
    # Both raised what no reader of damaged fonts expected: no room for so many, no library.
    yield "collection-of-too-many.ttf", b"ttcf" + pack(">II", 0x10000, 2**32 - 1)
    yield "packed-for-the-web.ttf", b"wOF2" + bytes(60)


def main():
    CORPUS.mkdir(exist_ok=True)
    for name, body in drawings():
        (CORPUS / f"{name}.svg").write_text(f"{HEAD}{body}</svg>\n", encoding="utf-8")
    for name, body in pieces():
        (CORPUS / f"piece-{name}.svg").write_text(f"{HEAD}{body}</svg>\n", encoding="utf-8")
    for name, text in tables():
        (CORPUS / f"{name}.toml").write_text(text, encoding="utf-8")
    for name, content in (*meshes(), *fonts()):
        (CORPUS / name).write_bytes(content)
    # The sentence repeated the heads, and had two lines.
    rows = "raw_g;finished\v_g\n77;74\n"
    (CORPUS / "weighings-vertical-tab.csv").write_text(rows, encoding="utf-8")
    # Of 80,000 squares the flat kernel ended the process.
    checks = np.add.outer(np.arange(480), np.arange(480)) % 2 == 0
    Image.fromarray(checks).save(CORPUS / "checks-of-one-pixel.png")
    # A fault in the packed design of an uploaded set ended the request, not the upload.
    design = archived(b"name = 'lantern night'\n" * 50)
    damaged = bytearray(design.replace(b"3D/3dmodel.model", b"set0/design.toml"))
    damaged[60] ^= 0xFF
    (CORPUS / "damaged-set.zip").write_bytes(bytes(damaged))


if __name__ == "__main__":
    main()
