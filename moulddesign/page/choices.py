"""The first screen: the few things that a baker chooses, in the order in which one thinks of them.

Each choice changes the draft of the design; everything else is among all settings.
"""

from collections.abc import Mapping
from copy import deepcopy
from functools import cache
from math import hypot
from pathlib import Path
from typing import Any, Final

import shapely

from moulddesign.artwork.bundled_patterns import pattern_names
from moulddesign.artwork.motifs import BORDERS, DEFAULT_SIZES
from moulddesign.artwork.patterns import artwork
from moulddesign.core import MouldError
from moulddesign.design import (
    MADE_KINDS,
    OUTLINES,
    Along,
    Design,
    Kind,
    Motif,
    PieceComposition,
    crusts,
)
from moulddesign.design.face_tables import face_names
from moulddesign.design.piece_tables import MEANT_FOR, NAMED_FIGURES
from moulddesign.page.choice_pictures import PLAIN, top_patterns
from moulddesign.page.draft import Tree, as_shown
from moulddesign.page.jobs import PieceFigures
from moulddesign.page.texts import Texts
from moulddesign.portion import foods

CENTRE_SHARE: Final = 1 / 15
"""Mass of a centre that is chosen by name, as a share of the finished weight; our choice."""

AROUND_GAP_MM: Final = 1.0
"""Between a picture and what runs around it; our choice [mm]."""

LETTERS_MM: Final = 5.0
"""Size of letters that come along the rim; our choice [mm]."""

SHARES: Final = {"min": 10, "max": 60, "step": 5}
"""Shares of crust that the slider takes; others are typed among all settings [%]."""

BORDER_NAMES: Final = tuple(motif.value for motif in Motif if motif in BORDERS)


def centre_names() -> tuple[str, ...]:
    """Return the foods that can be a centre: whatever is no flour."""
    return tuple(sorted({food.name for food in foods().values() if not food.flour}))


def choice_options(words: Texts) -> dict[str, list[dict[str, str]]]:
    """Return what each choice offers: value, label and picture."""
    plain = {"value": f"top-{PLAIN}", "label": words["top_plain"]}
    faces = [_option(words, "face", name) for name in face_names()]
    patterns = [_option(words, "pattern", name) for name in top_patterns()]
    nothing = {"value": PLAIN, "label": words["around_plain"], "picture": f"top-{PLAIN}"}
    return {
        "outline": [_option(words, "outline", name, bare=True) for name in OUTLINES],
        "top": [*patterns, *faces, plain | {"picture": plain["value"]}],
        "around": [
            nothing,
            *(_option(words, "around", name, bare=True) for name in BORDER_NAMES),
        ],
        "kind": [_option(words, "kind", kind.value, bare=True) for kind in MADE_KINDS],
        "centre": [
            {"value": "", "label": words["centre_none"]},
            *({"value": name, "label": words.food(name)} for name in centre_names()),
        ],
        "dough": [
            {"value": "", "label": words["dough_unnamed"]},
            *({"value": name, "label": words.word(f"{name} dough")} for name in crusts()),
        ],
    }


def _option(words: Texts, group: str, name: str, *, bare: bool = False) -> dict[str, str]:
    picture = f"{group}-{name}"
    return {"value": name if bare else picture, "label": words.word(name), "picture": picture}


def chosen(tree: Tree, design: Design) -> dict[str, Any]:
    """Return what is chosen in a draft whose last valid design is given.

    A text that is no choice of the first screen, such as two drawings on top, is an empty one.
    """
    portion, layers = tree.get("portion", {}), tree.get("relief", {}).get("layers", [])
    centres = portion.get("centres") or []
    face = (tree.get("face") or {}).get("name")
    return {
        "weight": _number_text(portion.get("finished_weight_g")),
        "share": round(100.0 * design.portion.crust_share),
        "outline": tree.get("pastry", {}).get("outline", OUTLINES[0]),
        "top": f"face-{face}" if face else _top_of(tree, layers),
        "around": _around_of(layers),
        "kind": tree.get("mould", {}).get("kind", Kind.PRESS.value),
        "centre": centres[0].get("name", "") if len(centres) == 1 else "",
        "centre_g": _number_text(centres[0].get("mass_g")) if len(centres) == 1 else "",
        "centres": len(centres),
        "dough": portion.get("crust_dough") or "",
        "filled": design.portion.composition is PieceComposition.WRAPPED,
        "carved": tree.get("face") is not None,
    }


def _number_text(value: object) -> str:
    """Return a value as the text of a field."""
    shown = as_shown(value)
    return f"{shown:.12g}" if isinstance(shown, float) else "" if value is None else str(value)


def _top_of(tree: Tree, layers: list[Tree]) -> str:
    drawn = [layer for layer in layers if layer.get("motif") not in BORDER_NAMES]
    if tree.get("face") is not None or len(drawn) > 1:
        return ""
    if not drawn:
        return f"top-{PLAIN}"
    name = drawn[0].get("pattern", "")
    return f"pattern-{name}" if name in pattern_names() else str(name)


def _around_of(layers: list[Tree]) -> str:
    found = [layer["motif"] for layer in layers if layer.get("motif") in BORDER_NAMES]
    return PLAIN if not found else str(found[0]) if len(found) == 1 else ""


def with_choice(tree: Tree, what: str, value: Any, piece: PieceFigures | None) -> Tree:  # noqa: ANN401 (as typed)
    """Return a draft's values with something chosen on the first screen.

    Parameters
    ----------
    tree : dict
        The draft's values.
    what : str
        A key of what `chosen` returns.
    value : object
        What was chosen; a number or a text as a field of the design holds it.
    piece : PieceFigures or None
        The piece as last made: a picture inside of something around it is sized by its width.
    """
    made = deepcopy(tree)
    portion = made.setdefault("portion", {})
    if what == "weight":
        _scale_pictures(made, portion.get("finished_weight_g"), value)
        portion["finished_weight_g"] = value
    elif what == "share":
        portion["ratio"] = ratio_text(float(value))
    elif what == "outline":
        made.setdefault("pastry", {})["outline"] = value
    elif what == "kind":
        made.setdefault("mould", {})["kind"] = value
    elif what == "dough":
        _name_dough(portion, value)
    elif what in {"centre", "centre_g"}:
        _choose_centre(portion, what, value)
    else:
        _choose_top(made, what, value, piece)
    return made


def ratio_text(percent: float) -> str:
    """Return a crust's share as a ratio of crust to filling.

    Examples
    --------
    >>> ratio_text(30.0), ratio_text(35.0)
    ('3:7', '3.5:6.5')
    """
    return f"{percent / 10.0:g}:{10.0 - percent / 10.0:g}"


def _name_dough(portion: Tree, name: str) -> None:
    if not name:
        portion.pop("crust_dough", None)
        return
    portion["crust_dough"] = name
    for figure in NAMED_FIGURES["crust_dough"]:  # the name stands for them
        portion.pop(figure, None)


def _choose_centre(portion: Tree, what: str, value: Any) -> None:  # noqa: ANN401
    if what == "centre_g":
        portion["centres"][0]["mass_g"] = value
        return
    before = portion.get("centres") or []
    if not value:
        portion["centres"] = []
        return
    weight_g = portion.get("finished_weight_g")
    usual_g = round(2.0 * CENTRE_SHARE * weight_g) / 2.0 if isinstance(weight_g, float) else 5.0
    mass_g = before[0].get("mass_g") if before else max(usual_g, 0.5)
    portion["centres"] = [{"name": value, "mass_g": mass_g}]


def _choose_top(made: Tree, what: str, value: str, piece: PieceFigures | None) -> None:
    relief = made.setdefault("relief", {})
    before = relief.get("layers") or []
    border = [layer for layer in before if layer.get("motif") in BORDER_NAMES]
    drawn = [layer for layer in before if layer not in border]
    if what == "around":
        border = [] if value == PLAIN else [{"motif": value}]
    elif value.startswith("face-"):
        made["face"] = {"name": value.removeprefix("face-")}
        relief["layers"] = []
        return
    else:
        made.pop("face", None)
        plain = value == f"top-{PLAIN}"
        drawn = [] if plain else [{"pattern": value.removeprefix("pattern-")}]
    inner_mm = _inner_mm(border, made, piece) if border else None
    relief["layers"] = [*_inside(drawn, inner_mm), *border]


def _inner_mm(border: list[Tree], made: Tree, piece: PieceFigures | None) -> float | None:
    """Return the radius that is free on a top inside of what runs around it."""
    if piece is None:
        return None
    pastry = made.get("pastry", {})
    has_lobes = piece.outline in MEANT_FOR["lobe_depth_mm"]
    lobes = pastry.get("lobe_depth_mm", 0.0) if has_lobes else 0.0
    edge_mm = lobes + pastry.get("shoulder_radius_mm", 0.0) + made["relief"].get("margin_mm", 2.0)
    bands = [DEFAULT_SIZES[Motif(layer["motif"])].band_mm + AROUND_GAP_MM for layer in border]
    return piece.width_mm / 2.0 - float(edge_mm) - sum(bands)


def _inside(drawn: list[Tree], inner_mm: float | None) -> list[Tree]:
    """Return the picture as large as a radius takes; where there is none it takes the top."""
    if len(drawn) != 1 or "pattern" not in drawn[0]:
        return drawn
    picture = {key: value for key, value in drawn[0].items() if key != "size_mm"}
    if inner_mm is not None:
        size_mm = inner_mm / _reach(picture["pattern"])
        if size_mm > 1.0:
            picture["size_mm"] = round(size_mm, 1)
    return [picture]


def with_free_lettering(tree: Tree, path: str, piece: PieceFigures | None) -> Tree:
    """Return values in which a new text of the first stamp lies beside what is there.

    It runs along the rim, inside of what runs around the piece, and a picture shrinks for it. Alone
    on a flat top, on a carved face and on a further stamp it lies as the program lays it.
    """
    layers = tree.get("relief", {}).get("layers") or []
    if len(layers) == 1 or tree.get("face") is not None or not path.startswith("relief."):
        return tree
    made = deepcopy(tree)
    layers = made["relief"]["layers"]
    text = layers[int(path.rpartition(".")[2])]
    border = [layer for layer in layers if layer.get("motif") in BORDER_NAMES]
    text |= {"along": Along.UPPER_RIM.value, "size_mm": LETTERS_MM}
    inner_mm = _inner_mm(border, made, piece)
    if inner_mm is None or inner_mm <= 2.0 * LETTERS_MM:
        return made
    if border:
        text["radius_mm"] = round(inner_mm - LETTERS_MM, 1)
    drawn = [layer for layer in layers if layer not in border and layer is not text]
    for old, new in zip(drawn, _inside(drawn, inner_mm - LETTERS_MM - AROUND_GAP_MM), strict=True):
        old.update(new)
    return made


def _scale_pictures(made: Tree, before: object, after: object) -> None:
    """Scale a picture that has something around it with the piece: lengths go as its cube root."""
    layers = made.get("relief", {}).get("layers") or []
    if _around_of(layers) not in BORDER_NAMES or not (_is_weight(before) and _is_weight(after)):
        return
    for layer in layers:
        if "pattern" in layer and "size_mm" in layer:
            ratio = (float(after) / float(before)) ** (1.0 / 3.0)  # type: ignore[arg-type]
            layer["size_mm"] = round(layer["size_mm"] * ratio, 1)


def _is_weight(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value > 0.0


@cache
def _reach(pattern: str) -> float:
    """Return how far a drawing reaches from its middle, as a share of its larger side."""
    try:
        shapes = [part.shape for part in artwork(pattern, Path())]
    except MouldError:  # the build says what is wrong with it
        return hypot(0.5, 0.5)
    corners = shapely.get_coordinates(shapes)
    return float(max(hypot(x, y) for x, y in corners.tolist()))


def errors_of_choices(errors: Mapping[str, str]) -> dict[str, str]:
    """Return errors of fields by the choice that asks for the same."""
    starts = {
        "portion.finished_weight_g": "weight",
        "portion.ratio": "share",
        "portion.centres": "centre",
        "portion.crust_dough": "dough",
        "pastry": "outline",
        "relief": "top",
        "face": "top",
        "mould.kind": "kind",
    }
    found: dict[str, str] = {}
    for path, text in errors.items():
        for start, what in starts.items():
            if path.startswith(start):
                found.setdefault(what, text)
    return found
