"""What of a carved face can be tapped: where each entry lies, and its numbers on a small card."""

import base64
from collections.abc import Iterator, Mapping
from copy import deepcopy
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import shapely

from moulddesign.artwork.bundled_patterns import pattern_names
from moulddesign.building import Shape
from moulddesign.design import Design
from moulddesign.design.face_tables import FaceTable, Figure, Fill, Tip
from moulddesign.face.carved_face import fold_of
from moulddesign.face.crowns import crown_count
from moulddesign.face.surface import PIECES
from moulddesign.page.draft import Tree

LISTS: Final = ("bands", "crowns", "medallion", "parts")
"""The tables of a face, in the order in which its field numbers their pieces."""

SIDE_PX: Final = 128
"""Pixels along a side of the map of entries."""

NOTHING: Final = 255
"""In the map, where nothing of the face is."""

NUMBERS: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "bands": ("width_mm", "count"),
        "crowns": ("width_ratio", "count"),
        "medallion": ("radius_ratio", "beads"),
        "parts": ("length_ratio", "copies"),
    }
)
"""Width and count of each kind of entry, by their keys in a design."""

CONTENTS: Final[Mapping[str, tuple[str, tuple[str, ...]]]] = MappingProxyType(
    {
        # lettering takes a text as well: it is set in a file
        "bands": ("fill", ("", *(fill.value for fill in Fill if fill is not Fill.TEXT))),
        "crowns": ("tip", tuple(tip.value for tip in Tip)),
        "parts": ("figure", tuple(figure.value for figure in Figure)),
    }
)
"""What fills or shapes an entry: its key, and what it may be."""

HELD: Final = ("text", "pattern")
"""What a medallion may hold."""


def face_to_tap(design: Design, shape: Shape) -> dict[str, Any] | None:
    """Return what the view needs of a carved face to be tapped; None where the top is flat.

    `entries`: each entry's list, place and numbers. `map`: for square pixels over the piece, from
    the lowest y on, the entry's place among them as a byte, or `NOTHING`; `heights` over the table,
    as shares of `span` in bytes [mm]; `corner` and `pixel` say where it lies [mm].
    """
    carved = shape.pastry.carved
    if design.face is None or carved is None:
        return None
    low, high = np.array(shape.pastry.outline.shape.bounds).reshape(2, 2)
    pixel_mm = float((high - low).max()) / SIDE_PX
    ways = (np.arange(SIDE_PX) + 0.5) * pixel_mm
    x, y = np.meshgrid(low[0] + ways, low[1] + ways)
    values = carved.field(np.column_stack([x.ravel(), y.ravel()]))
    entries = list(_entries(design.face.whole(), shape))
    number = values.piece // PIECES - 1  # 0 was the ground
    outside = ~shapely.contains_xy(shape.pastry.outline.shape, x.ravel(), y.ravel())
    number[(number < 0) | (number >= len(entries)) | outside] = NOTHING
    heights = np.clip(values.height + shape.pastry.height_mm, 0.0, None)
    span_mm = max(float(heights.max()), 0.1)
    return {
        "entries": entries,
        "map": _text(number),
        "heights": _text(np.rint(255.0 * heights / span_mm)),
        "span": span_mm,
        "corner": low.tolist(),
        "pixel": pixel_mm,
        "side": SIDE_PX,
    }


def _text(values: np.ndarray[Any, Any]) -> str:
    return base64.b64encode(values.astype(np.uint8).tobytes()).decode()


def _entries(face: FaceTable, shape: Shape) -> Iterator[dict[str, Any]]:
    carved = shape.pastry.carved
    assert carved is not None  # noqa: S101 (asked of carved pieces alone)
    fold = fold_of(face, shape.pastry.outline)
    counts = {
        "bands": [int(band.repeats.sum()) for band in carved.bands],
        "crowns": [crown_count(crown, fold) for crown in face.crowns],
    }
    for name in LISTS:
        tables = getattr(face, name)
        for place, table in enumerate(tables if isinstance(tables, tuple) else (tables,)):
            if table is None:
                continue
            wide, many = NUMBERS[name]
            made = counts[name][place] if name in counts else getattr(table, many)
            entry = {"list": name, "place": place, wide: getattr(table, wide), many: made}
            entry["numbers"] = [wide, many] if name != "bands" or table.fill else [wide]
            if name in CONTENTS:
                key, words = CONTENTS[name]
                entry |= {"content": key, "options": words, key: str(getattr(table, key) or "")}
            elif table.holds is not None and table.holds.pattern is not None:
                held = table.holds.pattern
                entry |= {"content": "pattern", "options": pattern_names(), "pattern": held}
            else:
                text = "" if table.holds is None else table.holds.text
                entry |= {"content": "text", "text": text}
            yield entry


def with_face_entry(tree: Tree, face: FaceTable, change: Mapping[str, Any]) -> Tree:
    """Return a draft's values with a key of an entry of its face changed.

    A list of a bundled face comes into the design whole: a list takes the place of a bundled one.

    Parameters
    ----------
    tree : dict
        The draft's values.
    face : FaceTable
        The face of the last valid design.
    change : mapping
        `list`, `place`, `key` and `value` of what was changed.
    """
    made = deepcopy(tree)
    name, key, value = change["list"], change["key"], change["value"]
    given = face.whole().model_dump(mode="json", exclude_unset=True)
    own = made.setdefault("face", {})
    if name == "medallion":
        table = own.setdefault("medallion", {})
        if key not in HELD:
            table[key] = value
        elif value:
            held = given["medallion"].get("holds") or {}
            table["holds"] = {k: v for k, v in held.items() if k not in HELD} | {key: value}
        return made
    own[name] = own.get(name) or given[name]
    entry = own[name][change["place"]]
    if value in {"", None}:
        entry.pop(key, None)
    else:
        entry[key] = value
    return made
