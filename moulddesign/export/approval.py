"""The approval sheet: one page for whoever ordered a piece, at 1:1, to be signed before it is made.

It says what the piece will be and what became of the customer's artwork, and nothing of moulds.
"""

from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Final

from moulddesign.artwork.layers import thickened_places
from moulddesign.building import PASTRY, Build
from moulddesign.core import Message, Verdict, say
from moulddesign.design import Layer, Paper
from moulddesign.design.assets import PREFIX
from moulddesign.export.card import Card, eaten_sizes
from moulddesign.export.card_piece import sheet_head
from moulddesign.export.entities import TIMES, format_number
from moulddesign.export.fonts import Fonts, breaking
from moulddesign.export.pictures import CAPTION
from moulddesign.geometry import Mesh
from moulddesign.render import Body, Scene

APPROVAL_PDF: Final = "approval.pdf"
TOP_PNG: Final = "top.png"
"""The piece from above; its place on the sheet is 1:1."""

PX_PER_MM: Final = 8.0
"""Of that picture: 200 to the inch."""
MOST_PX: Final = 1200

ROOM_MM: Final = 120.0
"""Side of the largest picture from above that the sheet has room for [mm]."""

MOST_CHANGES: Final = 6
"""Changes of the artwork that are told one by one."""
LEAST_MOVED_MM: Final = 0.05
"""What draft repair moved by less does not show; our choice [mm]."""


def top_scene(pastry: Mesh) -> Scene:
    """Return the pastry as it is seen from straight above."""
    across_mm = float(pastry.size_mm[:2].max())
    side = round(min(PX_PER_MM * across_mm, MOST_PX))
    return Scene(
        bodies=(Body(mesh=pastry),), azimuth_deg=0.0, elevation_deg=90.0, size_px=(side, side)
    )


def approval_sheet(
    build: Build, pictures: Mapping[str, bytes], *, paper: Paper, fonts: Fonts
) -> Card:
    """Return the sheet, with the build's pictures from above, of its relief, and from the front."""
    design = build.design
    pastry = build.meshes[PASTRY]
    picture_mm = 2.0 * top_scene(pastry).frame[1]
    share = min(1.0, ROOM_MM / picture_mm)
    return Card(
        figures={
            **sheet_head(design, design.name),
            "what": say("export.approval-what"),
            "picture_mm": share * picture_mm,
            "scale": say("export.approval-full-size")
            if share == 1.0
            else say("export.approval-smaller", percent=100.0 * share),
            "bar": say("export.approval-bar"),
            "rows": list(_sizes(build)),
            "sizes_are": say("export.approval-sizes-are"),
            "changes_head": say("export.approval-changes"),
            "changes": list(_changes(build)),
            "caption": CAPTION,
            "words": {
                "relief": say("export.card-relief-shown"),
                "top": say("export.approval-top-shown"),
                "pastry": say("export.card-pastry-shown"),
                "yes": say("export.approval-yes"),
                "no": say("export.approval-no"),
                "name": say("export.approval-name"),
                "date": say("export.card-date"),
                "signature": say("export.approval-signature"),
            },
            "picture_is": say("export.approval-picture"),
        },
        pictures=pictures,
        paper=paper,
        fonts=fonts,
        template="approval.typ",
    )


def _sizes(build: Build) -> Iterator[list[Message | str]]:
    """Yield what the piece weighs, and how large it and its relief are."""
    design, made = build.design, build.pastry
    yield [say("export.approval-weight"), f"{format_number(design.portion.finished_weight_g)} g"]
    width_mm, depth_mm = build.meshes[PASTRY].size_mm[:2].tolist()
    yield [say("export.approval-size"), f"{width_mm:.1f} {TIMES} {depth_mm:.1f} mm"]
    yield [say("export.approval-height"), f"{made.highest_mm:.1f} mm"]
    if build.further:
        heights_mm = [one.pastry.highest_mm for one in build.further]
        ends = dict.fromkeys((f"{min(heights_mm):.1f}", f"{max(heights_mm):.1f}"))
        yield [say("export.approval-other-faces"), f"{' - '.join(ends)} mm"]
    if design.relief.layers:
        yield [say("export.approval-relief"), f"{format_number(design.relief.depth_mm)} mm"]
    if made.carved is not None:
        carved_mm = made.carved.highest_mm - made.carved.lowest_mm
        yield [say("export.approval-carved"), f"{carved_mm:.1f} mm"]
    yield from eaten_sizes(build)


def _changes(build: Build) -> tuple[Message, ...]:
    """Return what the piece shows otherwise than its artwork did."""
    found = [*_thickened(build), *_told(build)]
    if not found:
        return (say("export.approval-unchanged"),)
    more = len(found) - MOST_CHANGES
    shown = tuple(map(breaking, found[:MOST_CHANGES]))
    return (*shown, say("export.approval-more", more=more)) if more > 0 else shown


def _thickened(build: Build) -> Iterator[Message]:
    """Yield which layers have strokes that were thickened, a further stamp's with its name."""
    pieces = {"": build.pastry} | {one.stamp_name: one.pastry for one in build.further}
    for stamp, pastry in pieces.items():
        parts = [part for region in pastry.relief for part in region.parts]
        for place, layer in {part.place: part.layer for part in parts}.items():
            added = thickened_places(part for part in parts if part.place == place)
            if not added.is_empty:
                name = ": ".join(filter(None, (stamp, _called(layer))))
                least_mm = layer.least_stroke_mm
                yield say("export.approval-thickened", name=name, least_mm=least_mm)


TOLD: Final[Mapping[str, Callable[[str, float], Message]]] = MappingProxyType(
    {
        "verify.shown-of-layer": lambda name, share: say(
            "export.approval-hidden", name=name, percent=100.0 * share
        ),
        "verify.greys-of-picture": lambda name, share: say(
            "export.approval-greys", name=name, percent=100.0 * share
        ),
        "verify.deepest-shade": lambda name, share: say(
            "export.approval-shallow", name=name, percent=100.0 * share
        ),
        "verify.artwork-at-depth": lambda name, share: say(
            "export.approval-fine", name=name, percent=100.0 * share
        ),
    }
)
"""What findings that are not good say of how the artwork came out, for who drew it."""


def _told(build: Build) -> Iterator[Message]:
    """Yield what findings say of the artwork, by the name of what they are about."""
    for found in build.findings:
        measured, name = found.measured, _part(build, found.part)
        if not isinstance(measured, float):
            continue
        if found.id == "verify.carving-moved" and measured > LEAST_MOVED_MM:
            yield say("export.approval-carving", name=name, moved_mm=measured)
        elif found.id in TOLD and found.verdict is not Verdict.GOOD:
            yield TOLD[found.id](name, measured)


def _part(build: Build, part: str) -> str:
    """Return a finding's part; a layer of the first stamp is called what it shows."""
    kind, _, number = part.rpartition("-")
    layers = build.design.relief.layers
    is_layer = kind == "layer" and number.isdecimal() and int(number) <= len(layers)
    return _called(layers[int(number) - 1]) if is_layer else part


def _called(layer: Layer) -> str:
    """Return what a layer is called: its pattern, without a folder, its motif or its text."""
    return Path(layer.pattern or layer.motif or layer.text or "").name.removeprefix(PREFIX)
