"""The options that override a design file, declared once for every verb that takes them."""

import functools
import inspect
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from keyword import iskeyword
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, Final

import typer

from moulddesign.cli.console import err
from moulddesign.cli.dough_option import with_dough
from moulddesign.cli.set_parts import started
from moulddesign.cli.usage import panel_of
from moulddesign.core import LANGUAGES, FileError, SpecError, read_number, say, word
from moulddesign.design import (
    BUNDLE,
    DESIGN_FILE,
    DRAWINGS,
    OUTLINES,
    Along,
    Design,
    Format,
    LetterSet,
    Paper,
    Workshop,
    crusts,
    design_path,
    fillings,
    free_values,
    parse_paper,
    read_unpacked,
    read_workshop,
    refuse_idle,
    with_workshop,
)

DesignFile = Annotated[
    Path | None,
    typer.Argument(help="Design file, a build's folder, or a bundle; without one a plain piece."),
]
DesignFiles = Annotated[
    list[Path] | None,
    typer.Argument(metavar="[DESIGN.toml|FOLDER]...", help="Design files, or folders of builds."),
]
PaperName = Annotated[
    str | None,
    typer.Option("--paper", metavar="a4|letter", help="Paper of all sheets; a4 where left out."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the report as JSON on stdout.")]


@dataclass(frozen=True, slots=True)
class Override:
    """An option and the field of the Design that it sets."""

    flag: str
    field: str
    kind: Any
    metavar: str
    says: str

    @property
    def parameter(self) -> inspect.Parameter:
        """The option as a parameter that typer understands; None where it is not given."""
        option = typer.Option(
            self.flag, metavar=self.metavar, help=self.says, rich_help_panel=panel_of(self.field)
        )
        name = self.flag.strip("-").replace("-", "_")
        return inspect.Parameter(
            f"{name}_" if iskeyword(name) else name,
            inspect.Parameter.KEYWORD_ONLY,
            default=None,
            annotation=Annotated[self.kind | None, option],
        )


WEIGHTS: Final = (
    Override("--name", "name", str, "NAME", "Name of the design and of its folder."),
    Override("--weight", "portion.finished_weight_g", float, "G", "Finished weight of a piece."),
    Override("--ratio", "portion.ratio", str, "C:F", "Crust to filling by mass, such as 3:7."),
    Override(
        "--composition",
        "portion.composition",
        str,
        "wrapped|solid|poured",
        "A crust around a filling, one dough, or a mass that is poured.",
    ),
    Override("--purpose", "portion.purpose", str, "food|not-food", "Whether the piece is eaten."),
    Override(
        "--finish",
        "portion.finish",
        str,
        "baked|unbaked|frozen|set",
        "What happens to the pressed piece.",
    ),
    Override(
        "--crust-dough",
        "portion.crust_dough",
        str,
        "NAME",
        f"Density and loss of a named dough: {', '.join(crusts())}.",
    ),
    Override(
        "--filling-paste",
        "portion.filling_paste",
        str,
        "NAME",
        f"Density of a named paste: {', '.join(fillings())}.",
    ),
    Override(
        "--dough",
        "dough.row",
        str,
        "NAME",
        "Figures of a dough of your dough book (`doughs`), or of a named crust dough.",
    ),
    Override("--loss", "portion.loss", float, "X", "Share of raw mass lost, 0 to 0.6."),
    Override(
        "--loss-uncertainty",
        "portion.loss_uncertainty",
        float,
        "X",
        "Standard uncertainty of the loss.",
    ),
    Override(
        "--crust-density", "portion.crust_density_g_per_ml", float, "G/ML", "Density of the crust."
    ),
    Override(
        "--crust-density-sd",
        "portion.crust_density_sd_g_per_ml",
        float,
        "G/ML",
        "Its standard uncertainty.",
    ),
    Override(
        "--filling-density",
        "portion.filling_density_g_per_ml",
        float,
        "G/ML",
        "Density of the filling paste.",
    ),
    Override(
        "--filling-density-sd",
        "portion.filling_density_sd_g_per_ml",
        float,
        "G/ML",
        "Its standard uncertainty.",
    ),
    Override(
        "--centre",
        "centres",
        list[str],
        "NAME:G[:G/ML]",
        "A centre, as often as wanted; a food's name brings its density and its allergens.",
    ),
    Override("--centre-mass", "centre.mass_g", float, "G", "Mass of one centre; 0 for none."),
    Override(
        "--centre-density", "centre.density_g_per_ml", float, "G/ML", "Density of the centre."
    ),
)
"""Options for what a piece weighs."""

WEIGHING: Final = (
    Override("--scale-step", "scale.resolution_g", float, "G", "Smallest step of the scale."),
    Override("--hand-error", "scale.hand_error_g", float, "G", "How far a hand misses, sd."),
    Override("--label-weight", "label.weight_g", float, "G", "Weight of one piece on the label."),
    Override("--pieces-per-pack", "label.pieces_per_pack", int, "N", "Pieces that a label is for."),
)
"""Options of the verbs that weigh."""

RECIPE: Final = Override("--recipe", "batch.recipe", str, "FILE", "Recipe file (TOML).")

WIDTH: Final = Override("--width", "pastry.width_mm", float, "MM", "Width of the pastry.")

SHAPE: Final = (
    Override(
        "--outline",
        "pastry.outline",
        str,
        "NAME|FILE",
        f"Shape seen from above: {', '.join(OUTLINES)}, or an SVG file.",
    ),
    WIDTH,
    Override("--height", "pastry.height_mm", float, "MM", "Height to the flat top."),
    Override("--height-to-width", "pastry.height_to_width", float, "X", "Height to width."),
    Override(
        "--corner-radius", "pastry.corner_radius_mm", float, "MM", "Corner radius of a square."
    ),
    Override("--side", "pastry.side", str, "FORM", "Side: plain, fluted or reeded, all around."),
)
"""Options for the shape of a piece."""

PIECE: Final = (*WEIGHTS, *SHAPE)
"""Options of the verbs that make a piece."""

RELIEF: Final = (
    Override(
        "--face",
        "face.name",
        str,
        "NAME",
        "Carved face by name, in the place of the design's face and layers; none for a flat top.",
    ),
    Override(
        "--carving",
        "carving.file",
        str,
        "FILE",
        "Sculpted relief from a file, on the face: a grey picture, white high, or a mesh seen from "
        "above.",
    ),
    Override("--carving-depth", "carving.depth_mm", float, "MM", "Its height, lowest to highest."),
    Override(
        "--pattern",
        "layer.pattern",
        str,
        "NAME|FILE",
        "Pattern by name, or a drawing, in the place of the design's layers; none for a plain top.",
    ),
    Override(
        "--text", "layer.text", str, "TEXT", "Lettering, over --pattern or in the layers' place."
    ),
    Override("--font", "layer.font", str, "FILE", "TrueType or OpenType font for the lettering."),
    Override(
        "--along",
        "layer.along",
        str,
        "|".join(each.value for each in Along),
        "What the lettering runs along; a rim is a circle, an outline has its corners.",
    ),
    Override(
        "--set",
        "layer.set",
        str,
        "|".join(each.value for each in LetterSet),
        "How straight lettering is set; a seal has four characters, two by two.",
    ),
    Override(
        "--threshold",
        "layer.threshold",
        float,
        "X",
        "Brightness, 0 to 1, below which a picture or drawing stands out fully.",
    ),
    Override(
        "--thicken",
        "layer.least_stroke_mm",
        float,
        "MM",
        "Thicken thinner strokes of the artwork to this; the picture of the relief shows where.",
    ),
    Override("--relief-depth", "relief.depth_mm", float, "MM", "Height or depth of the relief."),
    Override("--sense", "relief.sense", str, "raised|sunk", "Which way the relief stands."),
    Override("--profile", "relief.profile", str, "flat|bevel|pillow", "Section of a stroke."),
    Override("--draft", "relief.draft_deg", float, "DEG", "Least draft of the relief's walls."),
)
"""Options for the relief."""

BAKED_WIDTH: Final = Override(
    "--baked-width",
    "baked.width_mm",
    float,
    "MM",
    "Width of the piece when eaten, by what its dough does in the oven; the weight stays.",
)

STAMPS: Final = (
    Override(
        "--also-pattern",
        "stamps.patterns",
        list[str],
        "NAME|FILE",
        "One more stamp for the same sleeve and plunger, as often as wanted; named as its pattern.",
    ),
    Override(
        "--also-face",
        "stamps.faces",
        list[str],
        "NAME",
        "One more stamp with a carved face, as often as wanted; named as its face.",
    ),
)
"""Options for further stamps of a press."""

MOULD: Final = (
    Override("--kind", "mould.kind", str, "press|block|cast", "Kind of mould."),
    Override("--cavities", "mould.cavities", int, "N", "Cavities of a block or casting master."),
    Override("--mould-id", "mould.id", str, "ID", "Short id, sunk into the mould's parts."),
    Override("--clearance", "mould.clearance_mm", float, "MM", "Gap between stamp and bore."),
    Override("--crust-yield", "portion.crust_yield_kpa", float, "KPA", "What `firmness` finds."),
    Override(
        "--print-error",
        "printer.print_error_mm",
        float,
        "MM",
        "How far printed walls lie from their mesh, as the gauge shows.",
    ),
    Override("--printer", "printer.machine", str, "NAME", "Printer, as `printers` lists them."),
    Override("--process", "printer.process", str, "fff|resin|powder", "Of --printer service."),
    Override("--bed", "printer.bed_mm", str, "XxYxZ", "Build volume of the printer, mm."),
    Override("--material", "printer.material", str, "NAME", "Plastic that is printed."),
    Override(
        "--shrink",
        "printer.shrink",
        str,
        "off|auto|X",
        "Files of printed parts larger for what prints shrink: the plastic's figure, or a share.",
    ),
)
"""Options for the mould and the printer."""


SHEETS: Final = (
    Override(
        "--language", "language", str, "|".join(LANGUAGES), "Language of card, drawing and sheets."
    ),
)
"""Options of the verbs that write a card."""

EMPTY_WORKSHOP: Final = Workshop()
NoWorkshop = Annotated[
    bool, typer.Option("--no-workshop", help="Leave out what `workshop` says of every design.")
]
NO_WORKSHOP: Final = inspect.Parameter(
    "no_workshop", inspect.Parameter.KEYWORD_ONLY, default=False, annotation=NoWorkshop
)


def demo() -> Design:
    """Return the demo design that comes with the package."""
    return Design.read(Path(__file__).parents[1] / "data" / "demo.toml")


def with_design(
    *overrides: Override, bare: Callable[[], Design] = demo
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Return a decorator that gives a verb a design file argument and overriding options.

    The verb is called with the finished `Design` as its first argument.

    Parameters
    ----------
    *overrides : Override
        The options it offers.
    bare : callable
        Gives the design where there is neither a file nor an option.
    """
    file = inspect.Parameter(
        "design_file", inspect.Parameter.POSITIONAL_OR_KEYWORD, default=None, annotation=DesignFile
    )
    return _with_first(file, overrides, functools.partial(design_with, bare=bare))


def with_designs(*overrides: Override) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Return a decorator as `with_design` does, for a verb that takes several designs.

    The verb is called with a tuple of design files, None for no file, and their designs; a folder
    stands for the builds in it. Without any a plain piece is the design.
    """
    files = inspect.Parameter(
        "design_files", inspect.Parameter.POSITIONAL_OR_KEYWORD, default=None,
        annotation=DesignFiles,
    )  # fmt: skip

    def read(
        named: list[Path] | None, asked: Mapping[str, Any], shop: Workshop
    ) -> tuple[tuple[Path | None, Design], ...]:
        found = [file for each in named or () for file in _in_folder(each)]
        return tuple((file, design_with(file, asked, shop, Design)) for file in found or (None,))

    return _with_first(files, overrides, read)


def _with_first(
    first: inspect.Parameter,
    overrides: Collection[Override],
    read: Callable[[Any, Mapping[str, Any], Workshop], Any],
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Return a decorator that reads a verb's first argument with its overriding options."""

    def decorate(verb: Callable[..., Any]) -> Callable[..., Any]:
        own = list(inspect.signature(verb, eval_str=True).parameters.values())[1:]

        @functools.wraps(verb)
        def run(**values: Any) -> Any:  # noqa: ANN401 (any verb)
            asked = {o.field: values.pop(o.parameter.name) for o in overrides}
            shop = read_workshop(ignored=values.pop(NO_WORKSHOP.name, False))
            for name, value in (
                ("units", shop.units),
                ("language", shop.language),
                ("print_error", shop.print_error_mm),
            ):
                if name in values and values[name] is None:
                    values[name] = value
            return verb(read(values.pop(first.name, None), asked, shop), **values)

        run.__signature__ = inspect.Signature(  # type: ignore[attr-defined]
            [first, *(o.parameter for o in overrides), NO_WORKSHOP, *own]
        )
        return run

    return decorate


def _in_folder(path: Path) -> list[Path]:
    """Return a design file; of a folder its own, or those of the builds in it."""
    if not path.is_dir():
        return [path]
    own = path / DESIGN_FILE
    found = [own] if own.exists() else sorted(path.glob(f"*/{DESIGN_FILE}"))
    if not found:
        raise SpecError("design", str(path), say("cli.no-designs-in-folder", file=DESIGN_FILE))
    return found


def design_with(
    file: Path | None,
    asked: Mapping[str, Any],
    shop: Workshop = EMPTY_WORKSHOP,
    bare: Callable[[], Design] = demo,
) -> Design:
    """Return the file's design with the values that were given, and the workshop's for the others.

    Without a file they change a plain piece, named after what it is; asked for nothing, the demo.
    """
    given = {field: value for field, value in asked.items() if value is not None}
    design = started(file, given, read_design, bare)
    free = free_values(shop, design, given)
    given = with_dough(design, given)
    if "centres" in given:
        given["portion.centres"] = [_centre(text) for text in given.pop("centres")]
    first = {
        key: given.pop(f"centre.{key}") for key, _ in CENTRE_FIGURES if f"centre.{key}" in given
    }
    if first:
        given["portion.centres"] = _first_changed(design, first, named=given.get("portion.centres"))
    drawn = {key: given.pop(f"layer.{key}") for key in LAYER_KEYS if f"layer.{key}" in given}
    if drawn:
        given["relief.layers"] = _layers(drawn, design)
    carved = {key: given.pop(f"carving.{key}") for key in CARVING_KEYS if f"carving.{key}" in given}
    if carved or "face.name" in given:
        given |= _faced(design, given.pop("face.name", None), carved, given)
    stamps = [_stamp(pattern) for pattern in given.pop("stamps.patterns", ())]
    taken = {stamp["name"] for stamp in stamps}
    for face in given.pop("stamps.faces", ()):
        name = f"carved-{face}" if face in taken else face
        stamps.append({"name": name, "face": {"name": face}})
    if stamps:
        given["further_stamps"] = stamps
    made = design.with_values(given)
    refuse_idle(made.pastry.outline, given)
    pack = given.get("label.pieces_per_pack")
    if pack is not None and made.label.weight_g is None:
        raise SpecError("--pieces-per-pack", pack, say("cli.pack-without-label"))
    found = with_workshop(made, free, given)
    _tell_workshop([f"{key} = {free[key]}" for key in found.from_workshop if key in free])
    return found


def _tell_workshop(values: list[str]) -> None:
    if values:
        err().print(f"From the workshop: {', '.join(values)}.", soft_wrap=True, markup=False)


def _centre(text: str) -> dict[str, Any]:
    """Return a centre typed as NAME:G or NAME:G:G/ML; without a name it stays nameless."""
    name, *figures = (part.strip() for part in text.split(":"))
    if not 1 <= len(figures) <= len(CENTRE_FIGURES):
        raise SpecError("--centre", text, say("cli.centre-expected"))
    values = {
        key: read_number("--centre", figure, unit)
        for (key, unit), figure in zip(CENTRE_FIGURES, figures, strict=False)
    }
    return values | ({"name": name} if name else {})


CENTRE_FIGURES: Final = (("mass_g", "g"), ("density_g_per_ml", "g/mL"))
"""What stands behind a centre's name, and the unit of each."""


LAYER_KEYS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "pattern": (),
        "text": (),
        "font": ("text",),
        "along": ("text",),
        "set": ("text",),
        "threshold": ("pattern",),
        "least_stroke_mm": ("pattern", "motif", "text"),
    }
)
"""Keys of a layer that options set, and the sources of the layers that take them; none for a source
itself."""


CARVING_KEYS: Final = ("file", "depth_mm")
"""Keys of a carving that options set."""


def _faced(
    design: Design, name: str | None, carved: Mapping[str, Any], given: Mapping[str, Any]
) -> dict[str, Any]:
    """Return the values of a face, on which nothing lies but what is asked for.

    Without a name the design's own face stays, and a carving changes or joins it.
    """
    if name == "none" and not carved:
        return {"face": None}
    if name is None and design.face is not None:
        face: dict[str, Any] = design.face.plain()
    else:
        face = {} if name in (None, "none") else {"name": name}
    if carved:
        before = face.get("carvings", [])
        if "file" not in carved and not before:
            raise SpecError("--carving-depth", carved["depth_mm"], say("cli.depth-of-no-carving"))
        face["carvings"] = [(before[0] if before else {}) | dict(carved)]
    return {"face": face} | ({} if "relief.layers" in given else {"relief.layers": []})


def _layers(drawn: Mapping[str, Any], design: Design) -> list[dict[str, Any]]:
    """Return the layers of a pattern and a text, the text over the pattern, or else the design's.

    The other keys go to each layer that takes them.
    """
    named = [{key: drawn[key]} for key in ("pattern", "text") if key in drawn]
    layers: list[dict[str, Any]] = [each for each in named if each != {"pattern": "none"}]
    layers = layers if named else design.plain()["relief"]["layers"]
    for key, sources in LAYER_KEYS.items():
        if not sources or key not in drawn:
            continue
        taking = [layer for layer in layers if any(source in layer for source in sources)]
        if not taking:
            flag = next(each.flag for each in RELIEF if each.field == f"layer.{key}")
            kinds = tuple(word(source) for source in sources)
            raise SpecError(flag, drawn[key], say("cli.no-layer-takes-it", kinds=kinds))
        for layer in taking:
            layer[key] = drawn[key]
            if key == "font":
                layer.pop("font_name", None)
                layer.pop("font_sha256", None)
    return layers


def _stamp(pattern: str) -> dict[str, Any]:
    """Return a further stamp of one pattern, with its name."""
    if pattern == "none":
        return {"name": "plain", "layers": []}
    name = Path(pattern).stem if pattern.lower().endswith(DRAWINGS) else pattern
    return {"name": name, "layers": [{"pattern": pattern}]}


def _first_changed(
    design: Design, changes: Mapping[str, float], *, named: object
) -> list[dict[str, Any]]:
    """Return the design's first centre with another mass or density; none for a mass of 0."""
    if named is not None:
        flag = "--centre-mass" if "mass_g" in changes else "--centre-density"
        raise SpecError(flag, next(iter(changes.values())), say("cli.centre-named"))
    if changes.get("mass_g") == 0.0:
        return []
    centre = design.plain()["portion"]["centres"][:1]
    if not centre and "mass_g" not in changes:
        density = changes["density_g_per_ml"]
        raise SpecError("--centre-density", density, say("cli.no-centre"))
    return [{**centre[0], **changes} if centre else dict(changes)]


def paper_for(formats: Collection[Format], name: str | None) -> Paper:
    """Return the paper of the sheets among some formats; refuse one that is named for none."""
    if name is None:
        return parse_paper("a4")
    if not {Format.CARD, Format.DRAWING, Format.APPROVAL} & set(formats):
        raise SpecError("--paper", name, say("cli.idle-paper"))
    return parse_paper(name)


def read_design(file: Path) -> Design:
    """Return the design of a file, a bundle or a build's folder; notes about it go to stderr."""
    if file.suffix.lower() in DRAWINGS:
        raise FileError(str(file), say("cli.drawing-as-design", file=str(file)))
    is_bundle = file.suffix.lower() == BUNDLE
    design, notes = read_unpacked(file) if is_bundle else Design.read_with_notes(design_path(file))
    for note in notes:
        err().print(str(note), soft_wrap=True, markup=False)
    return design
