"""What a notebook shows of a build: its picture, weights, parts and findings, as HTML or PNG.

A notebook asks any object for `_repr_html_` and `_repr_png_`; no package of its own is needed.
"""

from base64 import b64encode
from collections.abc import Iterable, Sequence
from html import escape
from typing import TYPE_CHECKING

from moulddesign.core import Message, Verdict, with_unit
from moulddesign.render import THUMBNAIL_PX, thumbnail_png

if TYPE_CHECKING:
    from moulddesign.building.composition import Build


def build_png(build: "Build") -> bytes:
    """Return the pressed piece, seen from the front and above, as a PNG file."""
    return thumbnail_png(build.pastry.mesh)


def build_html(build: "Build") -> str:
    """Return a build as HTML: all that comes from a design is escaped."""
    picture = b64encode(build_png(build)).decode("ascii")
    source = f"data:image/png;base64,{picture}"
    shown = [
        f"<h3>{escape(build.design.name)}</h3>",
        f'<img alt="The pressed piece" width="{THUMBNAIL_PX[0] // 2}" src="{source}">',
        _table(("on the scale", "g"), _weights(build)),
        _table(("size", "mm"), _sizes(build)),
        _table(("part", "x mm", "y mm", "z mm"), _parts(build)),
        _findings(build),
    ]
    return f"<div>{''.join(shown)}</div>"


def _weights(build: "Build") -> list[tuple[str, str]]:
    design, split = build.design.portion, build.portion.split
    rows = [("crust" if design.is_filled else "dough", f"{split.crust_g:g}")]
    if design.is_filled:
        rows.append(("filling", f"{split.raw_g - split.crust_g:g}"))
    return [
        *rows,
        ("raw piece", f"{split.raw_g:g}"),
        ("finished piece", f"{build.portion.piece.finished_g:g}"),
    ]


def _sizes(build: "Build") -> list[tuple[str, str]]:
    made = build.pastry
    rows = [
        ("width", f"{made.outline.width_mm:.1f}"),
        ("height", f"{made.height_mm:.1f}"),
        ("highest point", f"{made.highest_mm:.1f}"),
    ]
    further = [(one.pastry_name, f"{one.pastry.highest_mm:.1f}") for one in build.further]
    return [*rows, *further]


def _parts(build: "Build") -> list[tuple[str, ...]]:
    return [
        (part.name, *(f"{side:.1f}" for side in build.meshes[part.name].size_mm))
        for part in build.mould.parts
    ]


def _findings(build: "Build") -> str:
    """Return what is not good, each with what mends it, and how many findings are good."""
    others = [found for found in build.findings if found.verdict is not Verdict.GOOD]
    rows = [
        (
            found.verdict.value,
            found.name,
            f"{_measured(found.measured)} {found.unit}",
            with_unit(str(found.limit), found.unit),
            "" if found.remedy is None else str(found.remedy),
        )
        for found in others
    ]
    good = f"<p>{len(build.findings) - len(others)} findings are good.</p>"
    heads = ("verdict", "finding", "measured", "limit", "to mend it")
    return good if not rows else _table(heads, rows) + good


def _measured(value: float | Message) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    head = "".join(f"<th>{escape(each)}</th>" for each in heads)
    body = "".join(
        f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows
    )
    return f"<table><tr>{head}</tr>{body}</table>"
