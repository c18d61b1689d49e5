"""What can be done with a finding: the change that mends it, and where on the piece it is."""

import re
from collections.abc import Callable, Mapping
from math import ceil
from types import MappingProxyType
from typing import Any, Final

from moulddesign.core import Finding, Message, tenths_up
from moulddesign.design import Design

Changes = Mapping[str, Any]
"""Values by dotted paths of a draft; None where a key is left out."""
Known = dict[str, Any]
"""What a remedy's text takes, by name."""

ENTRY: Final = re.compile(r"(layer|band)-(\d+)$")
"""A part of a finding that is an entry of a list."""
ENTRY_NUMBER: Final = re.compile(r"(?<=\.)\d+(?=\.)")
"""An entry in a key as people count, from 1."""
FURTHER: Final = "stamp-"
"""How the part of a finding begins that is of a further stamp, whose layers are its own."""
LISTS: Final = MappingProxyType({"layer": "relief.layers", "band": "face.bands"})


def mend(found: Finding, design: Design) -> Changes | None:
    """Return the smallest change that mends a finding; None where the page cannot make it.

    Examples
    --------
    >>> from moulddesign.core import Verdict, say
    >>> thin = Finding(what=say("verify.crust-thickness"), measured=0.9, limit=say("verify.x"),
    ...     unit="mm", source="", verdict=Verdict.WARN,
    ...     remedy=say("building.more-crust", ratio="4:6"))
    >>> mend(thin, Design())
    {'portion.ratio': '4:6'}
    """
    if found.remedy is None or found.part.startswith(FURTHER):
        return None
    return _changes(found.remedy, _entry(found.part), design)


def _changes(remedy: Message, entry: str | None, design: Design) -> Changes | None:
    known = dict(remedy.values)
    if remedy.id in FOR_THE_WHOLE:
        return FOR_THE_WHOLE[remedy.id](known, design)
    if "layer" in known:
        entry = _entry(f"layer-{known['layer']}")
    if remedy.id in FOR_ENTRIES:
        return None if entry is None else FOR_ENTRIES[remedy.id](known, entry, design)
    if remedy.id in FIRST_OF:  # several ways, the smallest change first
        inner = known[FIRST_OF[remedy.id]]
        return None if inner is None else _changes(inner, entry, design)
    if remedy.id in TAKEN:
        name, path = TAKEN[remedy.id]
        return {path: float(known[name])}
    return None


def _entry(part: str) -> str | None:
    """Return the path of the layer or band that is a finding's part."""
    found = ENTRY.fullmatch(part)
    return None if found is None else f"{LISTS[found[1]]}.{int(found[2]) - 1}"


def _drafts(known: Known) -> Changes:
    return {ENTRY_NUMBER.sub(_from_0, key): float(known["draft_deg"]) for key in known["keys"]}


def _from_0(number: re.Match[str]) -> str:
    return str(int(number[0]) - 1)


def _more(name: str, known: Known, design: Design) -> Changes:
    """Return a length of the mould that grows by what a remedy says."""
    return {f"mould.{name}": tenths_up(getattr(design.mould, name) + known["more_mm"])}


def _without(entry: str, design: Design) -> Changes:
    kept = design.plain()["relief"]["layers"]
    del kept[int(entry.rpartition(".")[2])]
    return {"relief.layers": kept}


TAKEN: Final = MappingProxyType(
    {
        "building.higher-piece": ("proportion", "pastry.height_to_width"),
        "building.shallower-relief": ("depth_mm", "relief.depth_mm"),
        "building.wider-land": ("land_mm", "face.land_mm"),
        "building.width-for-stop": ("width_mm", "pastry.width_mm"),
        "verify.longer-lobes": ("lobe_mm", "mould.lobe_mm"),
        "building.draft-for-ribs": ("draft_deg", "relief.draft_deg"),
        "verify.thicker-disc": ("disc_mm", "mould.disc_thickness_mm"),
        "verify.thicker-flange": ("flange_mm", "mould.flange_thickness_mm"),
        "verify.thicker-floor": ("floor_mm", "mould.floor_mm"),
        "verify.thicker-handle": ("thick_mm", "mould.handle_thickness_mm"),
        "verify.thicker-vane": ("vane_mm", "mould.vane_thickness_mm"),
        "verify.thicker-wall": ("wall_mm", "mould.wall_mm"),
        "verify.wider-land": ("land_mm", "mould.land_mm"),
    }
)
"""Remedies that name a value as a design takes it: the value, and its path."""

FOR_THE_WHOLE: Final[Mapping[str, Callable[[Known, Design], Changes]]] = MappingProxyType(
    {
        "building.less-draft": lambda known, _: _drafts(known),
        "building.more-draft": lambda known, _: _drafts(known),
        "building.more-crust": lambda known, _: {"portion.ratio": known["ratio"]},
        "building.lighter-centre": lambda known, _: {
            "portion.centres.0.mass_g": float(str(known["centre"]).split(":")[1])
        },
        "building.face-ends-at-land": lambda known, _: {
            "face.edge": "land",
            "face.land_mm": known["land_mm"],
        },
        "building.heavier-piece": lambda known, _: {
            "portion.finished_weight_g": float(ceil(known["weight_g"]))
        },
        "verify.nearest-depths": lambda known, _: {"relief.depth_mm": round(known["high_mm"], 6)},
        "verify.less-clearance": lambda _, __: {"mould.clearance_mm": None},
        "verify.longer-guide": lambda _, __: {
            "mould.guide_to_width": None,
            "mould.clearance_mm": None,
        },
        "verify.more-cover": lambda known, design: _more("cover_mm", known, design),
        "verify.more-land": lambda known, design: _more("land_mm", known, design),
        "verify.smaller-vent": lambda _, __: {"mould.vent_mm": 0.0},
        "verify.thinner-handle": lambda _, __: {"mould.handle_thickness_mm": None},
        "verify.farther-past-rim": lambda known, design: _more("past_rim_mm", known, design),
    }
)
"""What a remedy changes in a design, from its values, by its id."""

FOR_ENTRIES: Final[Mapping[str, Callable[[Known, str, Design], Changes]]] = MappingProxyType(
    {
        "building.larger-artwork": lambda known, at, _: {
            f"{at}.size_mm": tenths_up(known["size_mm"])
        },
        "building.flatter-artwork": lambda known, at, design: {
            f"{at}.depth_mm": design.printer.whole_layers_mm(known["depth_mm"])
        },
        "building.shallower-layer": lambda known, at, _: {f"{at}.depth_mm": known["depth_mm"]},
        "building.or-thicken": lambda known, at, _: {f"{at}.least_stroke_mm": known["stroke_mm"]},
        "building.gap-of-layers": lambda known, at, _: {f"{at}.gap_mm": known["gap_mm"]},
        "building.uncover-layer": lambda _, at, design: _without(at, design),
        "verify.make-it-black": lambda known, at, _: {f"{at}.threshold": known["threshold"]},
        "verify.whole-count": lambda known, at, _: {f"{at}.count": known["count"]},
        "verify.wider-band": lambda known, at, _: {f"{at}.width_mm": tenths_up(known["width_mm"])},
    }
)
"""The same of a layer or a band, from the path to it."""

FIRST_OF: Final = MappingProxyType(
    {"building.or-wider-gaps": "larger", "building.or-from-weight": "remedy"}
)
"""Remedies that name another way, and the value that holds the first."""

PLACED: Final = frozenset(
    {"verify.at-least-at", "verify.at-least-at-place", "verify.at-most-of-depth-at"}
)
"""Limits that say where on the piece they hold."""
ON_THE_CUT: Final = MappingProxyType(
    {
        "verify.crust-thickness": "crust",
        "verify.sunk-share-of-crust": "crust",
        "verify.crust-under-face": "crust",
        "verify.room-around-centres": "centre",
        "verify.paste-beside-heavy": "centre",
    }
)
"""Findings that are seen where the piece is cut, and what they speak of."""


def shown_place(found: Finding, parts: frozenset[str]) -> dict[str, Any] | None:
    """Return where the view shows what a finding speaks of; None where it knows no place.

    `at`: x and y on the top [mm]; `layer`: its place among the layers; `cut`: what of the cut
    piece; `part`: one of the names of the mould's parts.
    """
    if found.limit.id in PLACED and not found.part.startswith(FURTHER):
        known = dict(found.limit.values)
        return {"at": [known["x_mm"], known["y_mm"]]}
    if found.id in ON_THE_CUT:
        return {"cut": ON_THE_CUT[found.id]}
    entry = ENTRY.fullmatch(found.part)
    if entry is not None and entry[1] == "layer":
        return {"layer": int(entry[2]) - 1}
    return {"part": found.part} if found.part in parts else None
