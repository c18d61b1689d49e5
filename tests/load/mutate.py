"""A program of its own: reads files that chance has damaged, within limits of memory and time.

Usage: python mutate.py ENDING SECONDS FOLDER SEED
`case.ENDING` in the folder is the file that is being read. What raised anything but a refusal, or
took too long, is kept there as `failed-N.ENDING`, and a line is printed for it; the last line says
how many were read and how many refused.
"""

import io
import random
import re
import resource
import shutil
import sys
import time
import warnings
import zipfile
import zlib
from collections import Counter
from pathlib import Path
from struct import pack, unpack

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from cli.test_bad_meshes import CUBE, model_bytes, obj_bytes, ply_bytes, stl_bytes
from load.readers import outcome
from PIL import Image

ROOT = Path(__file__).parents[2]
MOST_BYTES = 3_000_000_000
"""Address space of this program: the libraries take a third of it [bytes]."""
MOST_S = 10.0
"""Longest time for one file: a refusal takes at most 2 s, and this machine may be busy [CPU s]."""
WORDS = (
    b"nan", b"inf", b"-1", b"0", b"1e308", b"-1e-320", b"99999999999999999999", b"", b"''", b'"',
    b"[", b"]", b"{", b"<", b">", b"&", b"#", b";", b",", b"\0", b"\xff", b"\n", b"\xe2\x80\xae",
)  # fmt: skip
"""What numbers and words are replaced by."""


def seeds(ending):
    """Return contents of good files, with how their names begin."""
    corners, faces = np.array(CUBE.vertices), CUBE.faces
    made = {"stl": stl_bytes, "obj": obj_bytes, "ply": ply_bytes}
    if ending in made:
        return [("mesh", made[ending](corners, faces))]
    if ending == "3mf":
        return [("mesh", model_bytes(corners, faces))]
    if ending == "png":
        rows = np.add.outer(np.arange(24) ** 2, np.arange(32)) % 256
        return [("grey", _png(rows.astype(np.uint8))), ("deep", _png((rows * 200).astype("u2")))]
    folders = {
        "svg": ["patterns", "tests/designs"],
        "toml": ["moulddesign/data/examples", "tests/designs"],
        "csv": ["moulddesign/data/examples"],
        "ttf": ["moulddesign/data/fonts"],
    }
    paths = [p for name in folders[ending] for p in sorted((ROOT / name).glob(f"*.{ending}"))]
    return [(path.stem, path.read_bytes()) for path in paths]


def _png(pixels):
    target = io.BytesIO()
    Image.fromarray(pixels).save(target, "png")
    return target.getvalue()


def damaged(content, chance):
    """Return content with a few places changed."""
    raw = bytearray(content)
    for _ in range(chance.choice([1, 1, 2, 4, 16])):
        here = chance.randrange(len(raw) or 1)
        length = chance.choice([1, 4, 40, 400])
        match chance.randrange(7):
            case 0 if raw:
                raw[here % len(raw)] ^= 1 << chance.randrange(8)
            case 1:
                raw[here : here + length] = chance.randbytes(length)
            case 2:
                del raw[here : here + length]
            case 3:
                raw[here:here] = raw[here : here + length] * chance.choice([1, 2, 50])
            case 4:
                words = [m.span() for m in re.finditer(rb"[-+\w.]+", raw[here : here + 2000])]
                low, high = chance.choice(words or [(0, 0)])
                raw[here + low : here + high] = chance.choice(WORDS)
            case 5 if chance.random() < 0.2:
                del raw[here:]
            case _:
                there = chance.randrange(len(raw) or 1)
                raw[here : here + length] = raw[there : there + length]
    return bytes(raw)


def archived(model):
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", model)
    return target.getvalue()


def rechecked(content, chance):
    """Return a PNG with one of its chunks damaged, unpacked first where it is pixels."""
    parts, at = [], 8
    while at < len(content):
        (length,) = unpack(">I", content[at : at + 4])
        parts.append((content[at + 4 : at + 8], content[at + 8 : at + 8 + length]))
        at += 12 + length
    place = chance.randrange(len(parts))
    name, held = parts[place]
    if name == b"IDAT":
        held = zlib.compress(damaged(zlib.decompress(held), chance))
    else:
        held = damaged(held, chance) if held else held
    parts[place] = (name, held)
    chunks = [pack(">I", len(h)) + n + h + pack(">I", zlib.crc32(n + h)) for n, h in parts]
    return content[:8] + b"".join(chunks)


def changed(ending, content, chance):
    """Return a damaged file: as it lies on the disk, or inside its packing."""
    if ending == "3mf":
        inside = chance.random() < 0.7
        return archived(damaged(content, chance)) if inside else damaged(archived(content), chance)
    if ending == "png" and chance.random() < 0.7:
        return rechecked(content, chance)
    return damaged(content, chance)


def main(ending, seconds, folder, seed):
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    for kind in (RuntimeWarning, UserWarning, ResourceWarning):
        warnings.simplefilter("error", kind)  # a library's warning is no sentence
    chance, good, counts = random.Random(seed), seeds(ending), Counter()  # noqa: S311
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        name, content = chance.choice(good)
        case = folder / f"{name.partition('-')[0]}-case.{ending}"
        case.write_bytes(changed(ending, content, chance))
        start, wrong = time.process_time(), ""
        try:
            counts["read" if outcome(case) == "read" else "refused"] += 1
        except BaseException as error:  # noqa: BLE001 (whatever it is, the file is kept)
            wrong = f"{error!r:.300}"
        took = time.process_time() - start
        if took > MOST_S:
            wrong = f"{took:.1f} s"
        if wrong:
            counts["failed"] += 1
            kept = folder / f"failed-{counts['failed']}-{case.name}"
            shutil.copyfile(case, kept)
            sys.stdout.write(f"{kept}: {wrong}\n")
    sys.stdout.write(f"{ending}: {dict(counts)}\n")
    sys.exit(1 if counts["failed"] else 0)


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4]))
