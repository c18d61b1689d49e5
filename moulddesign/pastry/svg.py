"""An SVG drawing as regions of relief.

What is dark stands out and its darkness is the share of the depth; later paint wins, and white
paint erases. Nothing outside the file is read, and nothing in it is run.
"""

from pathlib import Path
from typing import Any, Final

from lxml import etree
from picosvg.svg_transform import Affine2D

from moulddesign.errors import FileError, MouldError, SpecError
from moulddesign.pastry.area import Area, within
from moulddesign.pastry.region import Region, regions
from moulddesign.pastry.svg_frame import name_of, view_box, window_of
from moulddesign.pastry.svg_paint import Ink
from moulddesign.pastry.svg_shape import Viewport, length
from moulddesign.pastry.svg_style import INITIAL, Rule, sheet_rules
from moulddesign.pastry.svg_tree import Place, Walk

MOST_BYTES: Final = 10_000_000
GZIP: Final = b"\x1f\x8b"
RELATIVE: Final = ("%", "em", "ex", "rem", "ch", "vw", "vh", "auto")
"""Lengths that hang on a page or a font, which a drawing of relief does not have."""


def svg_regions(path: Path) -> tuple[Region, ...]:
    """Return what an SVG file draws.

    Parameters
    ----------
    path : Path
        The file. Its viewBox (or width and height) is fitted into the unit square around the
        origin, y up; what lies outside of it is cut off.

    Returns
    -------
    tuple of Region
        Without overlap, deepest first, curves within `FLATNESS` of the unit.

    Raises
    ------
    FileError
        The file cannot be read, is too large, is not SVG, declares entities, holds what cannot
        become relief (text, pictures, gradients, filters), or draws nothing dark.
    """
    root = parsed(read(path), str(path))
    try:
        found = regions(_paints(root), f"the relief of {path.name}")
    except MouldError as error:
        raise FileError(str(path), str(error).rstrip(".")) from error
    if not found:
        reason = "draws nothing that is darker than white; fill or stroke its shapes with black"
        raise FileError(str(path), reason)
    return found


def read(path: Path) -> bytes:
    """Return the bytes of a file that is not too large.

    Raises
    ------
    FileError
        It cannot be read, or is too large.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileError(str(path), f"cannot be read ({error.strerror})") from error
    if len(raw) > MOST_BYTES:
        reason = f"is larger than {MOST_BYTES // 1_000_000} MB; simplify the drawing"
        raise FileError(str(path), reason)
    return raw


def parsed(raw: bytes, name: str) -> Any:  # noqa: ANN401 (lxml has no types)
    """Return the root of a drawing; `name` is the file's, for errors.

    Raises
    ------
    FileError
        It is compressed, is not XML, declares entities, or is not SVG.
    """
    if raw.startswith(GZIP):
        raise FileError(name, "is compressed; unpack it first, or save it as plain SVG")
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False,
        remove_comments=True, remove_pis=True,
    )  # fmt: skip
    if declares_entities(raw):
        raise FileError(name, "declares entities, which are not resolved; save it as plain SVG")
    try:
        root = etree.fromstring(raw, parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise FileError(name, f"is not XML: {str(error).splitlines()[0]}") from error
    if name_of(root) != "svg":
        raise FileError(name, "is XML but not SVG; its first element must be svg")
    return root


def declares_entities(raw: bytes) -> bool:
    """Return whether XML declares entities, in any of its encodings.

    Checked before parsing: libxml2 expands entities inside attributes whatever it is told.

    Examples
    --------
    >>> declares_entities(b'<!DOCTYPE svg [<!ENTITY a "b">]><svg/>')
    True
    """
    return any("<!ENTITY".encode(code) in raw for code in ("ascii", "utf-16-le", "utf-16-be"))


def _paints(root: Any) -> list[tuple[Area, float]]:  # noqa: ANN401
    width, height = _size(root)
    side = max(width, height)
    unit = Affine2D(1.0 / side, 0.0, 0.0, -1.0 / side, -width / side / 2.0, height / side / 2.0)
    rules = _rules(root)
    size = Viewport(width, height)
    walk = Walk(_by_id(root), rules, Ink())
    window = window_of(size, unit)
    paints = walk.paints(root, Place(matrix=unit, viewport=size, style=INITIAL))
    return [(within(area, window), share) for area, share in paints]


def _size(root: Any) -> tuple[float, float]:  # noqa: ANN401
    """Return the size of the drawing, and give it to the root, whose own may hang on a page."""
    texts = [root.get(name, "") for name in ("width", "height")]
    absolute = all(text and not text.strip().endswith(RELATIVE) for text in texts)
    if absolute:
        width, height = (length(text, "width", Viewport(0.0, 0.0)) for text in texts)
    elif root.get("viewBox") is not None:
        _, _, width, height = view_box(root.get("viewBox"))
    else:
        need = "must be given, or a width and a height; set the page size in your drawing program"
        raise SpecError("viewBox", None, need)
    if not min(width, height) > 0.0:
        raise SpecError("width and height", ", ".join(texts), "must be above 0")
    for name, value in (("x", 0.0), ("y", 0.0), ("width", width), ("height", height)):
        root.set(name, repr(value))
    return width, height


def _by_id(root: Any) -> dict[str, Any]:  # noqa: ANN401
    """Return elements by id; the first of a name counts."""
    found: dict[str, Any] = {}
    for element in root.iter():
        if element.get("id"):
            found.setdefault(element.get("id"), element)
    return found


def _rules(root: Any) -> list[Rule]:  # noqa: ANN401
    sheets = [element.text or "" for element in root.iter() if name_of(element) == "style"]
    return sheet_rules("\n".join(sheets))
