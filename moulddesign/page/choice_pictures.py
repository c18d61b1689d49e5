"""Pictures of what the first screen offers: shipped for what is bundled, and how they are made.

`python -m moulddesign.page.choice_pictures` makes those again whose source has changed.
"""

import io
import json
import sys
from collections.abc import Iterator
from dataclasses import replace
from hashlib import sha256
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from PIL import Image

from moulddesign.artwork.bundled_patterns import pattern_names, patterns_folder
from moulddesign.artwork.motifs import BORDERS
from moulddesign.building import mould_of, shaped
from moulddesign.core import say
from moulddesign.design import MADE_KINDS, OUTLINES, Design, Kind
from moulddesign.design.face_tables import FACES, face_names
from moulddesign.export.pictures import cavity_up_scene, exploded_scene, row_scene
from moulddesign.mould import Part
from moulddesign.render import Picture, cutout, thumbnail
from moulddesign.workers import Checkpoint, Job

FOLDER: Final = Path(str(files("moulddesign"))) / "data" / "choices"
"""The shipped pictures, and the digests of their sources."""
DIGESTS: Final = "sources.json"

SIZE_PX: Final = (168, 144)
MOST_BYTES: Final = 10_000
"""Of one picture: a row of twenty loads at once [bytes]."""
QUALITIES: Final = (84, 76, 68, 56, 44, 30)
"""Of WebP, the best that keeps to that is taken."""

LEAST_SHOWN_MM: Final = 5.0
"""Lower parts of a press, its shims, are left out of its picture; our choice [mm]."""

MARK: Final = "mark-"
"""Begins the name of a small mark that stands beside a picture."""

PLAIN: Final = "plain"
"""A top without face and picture, or with nothing around it."""


def top_patterns() -> tuple[str, ...]:
    """Return the bundled patterns that are pictures for a whole top."""
    return tuple(name for name in pattern_names() if not name.startswith(MARK))


def choice_names() -> tuple[str, ...]:
    """Return the name of every picture: what is chosen, and what of that."""
    groups = {
        "outline": OUTLINES,
        "face": face_names(),
        "pattern": top_patterns(),
        "around": sorted(motif.value for motif in BORDERS),
        "kind": [kind.value for kind in MADE_KINDS],
        "top": [PLAIN],
    }
    return tuple(f"{group}-{name}" for group, names in groups.items() for name in names)


def shown_values(name: str) -> dict[str, Any]:
    """Return the values of a design that a picture shows, over what is usual: what is chosen."""
    group, _, what = name.partition("-")
    values: dict[str, dict[str, Any]] = {
        "outline": {"pastry.outline": what, "relief.layers": []},
        "face": {"face": {"name": what}, "relief.layers": []},
        "pattern": {"relief.layers": [{"pattern": what}]},
        "around": {"relief.layers": [{"motif": what}]},
        "kind": {"mould.kind": what},
        "top": {"relief.layers": []},
    }
    return values[group]


def source_digest(name: str) -> str:
    """Return a digest of what a picture is drawn from: the choice, and its drawing or face."""
    group, _, what = name.partition("-")
    digest = sha256(json.dumps([shown_values(name), SIZE_PX], sort_keys=True).encode())
    path = {"face": FACES / f"{what}.toml", "pattern": patterns_folder() / f"{what}.svg"}
    if group in path:
        digest.update(path[group].read_bytes())
    return digest.hexdigest()


def choice_picture(name: str) -> bytes:
    """Return the picture of a choice as a WebP file of at most `MOST_BYTES`."""
    design = Design().with_values(shown_values(name))
    shape = shaped(design)
    if not name.startswith("kind-"):
        return webp_bytes(thumbnail(shape.pastry.mesh, SIZE_PX))
    mould = mould_of(design, shape)
    printed = {part.name: part.printed for part in mould.parts if _is_large(part)}
    if design.mould.kind is Kind.PRESS:  # pulled apart it would be a tower
        scene = row_scene(printed)
    elif design.mould.kind is Kind.BLOCK:
        scene = cavity_up_scene(printed, shape.pastry.mesh)
    else:
        scene = exploded_scene(
            {part.name: part.mesh for part in mould.assembled}, shape.pastry.mesh
        )
    return webp_bytes(cutout(replace(scene, size_px=SIZE_PX)))


def _is_large(part: Part) -> bool:
    return float(part.mesh.size_mm[2]) > LEAST_SHOWN_MM


def draw_choice(_checkpoint: Checkpoint, name: str) -> Iterator[bytes]:
    """Yield the picture of a choice, or of a drawing that somebody uploaded on a piece, as WebP."""
    if name in choice_names():
        yield choice_picture(name)
    else:
        design = Design().with_values({"relief.layers": [{"pattern": name}]})
        yield webp_bytes(thumbnail(shaped(design).pastry.mesh, SIZE_PX))


CHOICE_PICTURE: Final = Job(say("page.the-picture"), draw_choice)


def webp_bytes(image: Picture) -> bytes:
    """Return a picture as a WebP file, as good as `MOST_BYTES` allow."""
    made = b""
    for quality in QUALITIES:
        file = io.BytesIO()
        Image.fromarray(image).save(file, format="WEBP", quality=quality, method=6)
        made = file.getvalue()
        if len(made) <= MOST_BYTES:
            break
    return made


def source_digests() -> dict[str, str]:
    """Return the digests that were written beside the shipped pictures, by their names."""
    path = FOLDER / DIGESTS
    known: dict[str, str] = json.loads(path.read_text("utf-8")) if path.is_file() else {}
    return known


def remake() -> None:
    """Make the pictures whose source has changed, and remove those that nothing shows."""
    FOLDER.mkdir(exist_ok=True)
    known, names = source_digests(), choice_names()
    for path in FOLDER.glob("*.webp"):
        if path.stem not in names:
            path.unlink()
    for name in names:
        path, digest = FOLDER / f"{name}.webp", source_digest(name)
        if known.get(name) != digest or not path.is_file():
            path.write_bytes(choice_picture(name))
            known[name] = digest
            sys.stderr.write(f"{path.name}: {path.stat().st_size} bytes\n")
        kept = {each: known[each] for each in sorted(names) if each in known}
        (FOLDER / DIGESTS).write_text(json.dumps(kept, indent=1) + "\n", "utf-8")


if __name__ == "__main__":
    remake()
