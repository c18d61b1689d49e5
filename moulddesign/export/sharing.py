"""A bundle of a design: what goes into it, what stays out, and its thumbnail.

The design file in it names what a customer's drawing was called and where it lay, so that whoever
gets that drawing has the whole. The thumbnail shows the design as it loads without it.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from moulddesign.artwork.font_files import full_name, with_fonts
from moulddesign.building import shaped
from moulddesign.core import SpecError, read_bytes, say
from moulddesign.design import (
    DESIGN_FILE,
    MOST_BYTES,
    Design,
    FileKind,
    collect_drawings,
    is_kept_back,
    named_files,
    without_customers,
    without_files,
    zip_bytes,
)
from moulddesign.design.assets import SHARED
from moulddesign.render import thumbnail_png

THUMBNAIL: Final = "thumbnail.png"

PRIVATE: Final = ("price", "from_workshop")
"""Tables of a design that say what its maker earns, and of his workshop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedDesign:
    """A design as it is handed on."""

    content: bytes
    """The bundle, a zip."""
    files: tuple[str, ...]
    """Names of what is in it."""
    customers: tuple[str, ...]
    """Drawings that stay out because they are a customer's."""
    recipes: tuple[str, ...]
    """Recipes that stay out."""


def bundle_of(design: Design) -> SharedDesign:
    """Return a design as a bundle; the same design gives the same bytes.

    Raises
    ------
    SpecError
        Author or licence is missing, a mark names no file of the design, or its piece cannot be
        made.
    FileError
        A file that the design names cannot be read, or is too large.
    """
    _refuse_nameless(design)
    seen, customers = without_customers(design)
    own = design.own_mould is not None
    thumb = {} if own else {THUMBNAIL: thumbnail_png(shaped(seen).pastry.mesh)}
    collected, copies = collect_drawings(with_fonts(design), SHARED)
    kinds = {name: kind for _, kind, name in named_files(collected.plain(), Design)}
    files = {
        name: _read(path, kinds[name])
        for name, path in copies.items()
        if not is_kept_back(name, customers)
    }
    plain, recipes = without_files(
        collected.plain(), Design, lambda kind, _: kind in {FileKind.RECIPE, FileKind.MOULDS}
    )
    public = _by_font_names({key: value for key, value in plain.items() if key not in PRIVATE})
    text = Design.of(public).toml()
    content = {DESIGN_FILE: text.encode()} | files | thumb
    return SharedDesign(
        content=zip_bytes(content, design.name),
        files=tuple(content),
        customers=customers,
        recipes=recipes,
    )


def _refuse_nameless(design: Design) -> None:
    """Refuse a bundle that does not say whose it is, and what may be done with it."""
    share = design.share
    if share is None or share.author is None:
        raise SpecError("share.author", "not given", say("export.share-author"))
    if share.licence is None:
        raise SpecError("share.licence", "not given", say("export.share-licence"))


def _read(path: Path, kind: FileKind) -> bytes:
    """Return a file that whoever gets the bundle can read, too."""
    advice = say("export.share-smaller")
    return read_bytes(path, most_bytes=MOST_BYTES[kind], advice=advice)


def _by_font_names(values: Any) -> Any:  # noqa: ANN401 (plain values of any kind)
    """Return plain values with fonts called by their names: their licences seldom allow a copy."""
    if isinstance(values, list):
        return [_by_font_names(each) for each in values]
    if not isinstance(values, dict):
        return values
    made = {key: _by_font_names(each) for key, each in values.items() if key != "font"}
    if "font" in values and "font_sha256" in values:
        made["font_name"] = full_name(Path(values["font"]))
    return made
