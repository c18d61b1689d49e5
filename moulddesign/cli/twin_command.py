"""`twin`: from an old mould, scanned or photographed, to a design that make builds again."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from moulddesign.cli.console import (
    Overwrite,
    ends_at_once,
    err,
    out,
    print_json,
    refuse_to_replace,
    save_bytes,
    save_text,
    table,
)
from moulddesign.cli.options import AsJson
from moulddesign.cli.usage import UsageError
from moulddesign.core import SpecError, ml_from_mm3, read_number, require_positive, say
from moulddesign.design import Design, OwnedMould, PastryTable, Tool

if TYPE_CHECKING:  # the room loads the geometry libraries, which light verbs do without
    from moulddesign.fit.lit_photos import Marks
    from moulddesign.fit.twin import Twin

MESHES: Final = (".stl", ".3mf", ".obj", ".ply")
OF_PHOTOS: Final = ("azimuths", "lamp_height", "marks", "depth", "outline", "impression")
"""Options that count for photos alone."""
FOUR: Final = 4
"""Numbers of two marks."""


def run_twin(
    context: typer.Context,
    sources: Annotated[
        list[Path],
        typer.Argument(metavar="MESH|PHOTOS...", help="One mesh, or four to eight photos."),
    ],
    *,
    width: Annotated[
        float,
        typer.Option(metavar="MM", help="Known width: the least of the mouth, or of a stamp."),
    ],
    height: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Height of the piece: for a stamp's mesh, for photos."),
    ] = None,
    water: Annotated[
        float | None, typer.Option(metavar="G", help="Water that fills the mould, weighed.")
    ] = None,
    up: Annotated[
        str, typer.Option(metavar="+z", help="Way up in the mesh: +x -x +y -y +z -z.")
    ] = "+z",
    azimuths: Annotated[
        str | None,
        typer.Option(
            metavar="DEG,DEG,...",
            help="Where the lamp stood for each photo: 0 right, 90 at the top, 180 left.",
        ),
    ] = None,
    lamp_height: Annotated[
        float, typer.Option(metavar="DEG", help="How high the lamp stood over the table.")
    ] = 55.0,
    marks: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y,X,Y",
            help="Both ends of the width in the photos, pixels from the upper left; without it "
            "the width of the picture.",
        ),
    ] = None,
    depth: Annotated[
        float | None,
        typer.Option(metavar="MM", help="Depth of the deepest engraving below the face's flat."),
    ] = None,
    outline: Annotated[
        str, typer.Option(metavar="NAME|FILE.svg", help="Outline of the mouth in the photos.")
    ] = "round",
    impression: Annotated[
        bool, typer.Option("--impression", help="The photos show what was pressed in the mould.")
    ] = False,
    tool: Annotated[Tool, typer.Option(help="What the lengths were read off.")] = Tool.RULER,
    base: Annotated[
        Path | None,
        typer.Option("--design", metavar="FILE.toml", help="Doughs, ratio and printer from it."),
    ] = None,
    target: Annotated[
        Path, typer.Option("--out", "-o", metavar="FILE.toml", help="The design to write.")
    ] = Path("twin.toml"),
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Make an old mould's twin: a scan's mesh or photos -> height maps and a design for make.

    A mesh is levelled to its rim, scaled by the width, mended and smoothed. The scan of a stamp
    has no walls: --height says how high the piece is. Photos are taken from one place, the lamp
    going around at about 55 deg; deep moulds are pressed into dough or clay first (--impression).
    Beside the design lie the height maps and a picture to look at before anything is printed.

    Example: moulddesign twin old-mould.stl --width 62 --out heirloom.toml

    Example: moulddesign twin old-stamp.ply --width 58 --height 24

    Example: moulddesign twin a.jpg b.jpg c.jpg d.jpg --azimuths 0,90,180,270 --width 62 --depth 2.4
    --height 24
    """
    is_mesh = _refuse_mixed(sources, context)
    if target.suffix.lower() != ".toml":
        raise SpecError("out", str(target), say("cli.must-end-in", endings=(".toml",)))
    if not overwrite:
        refuse_to_replace(target, overwrite=False)
    require_positive("width", width, "mm")
    for field, value in (("height", height), ("depth", depth)):
        if value is not None:
            require_positive(field, value, "mm")
    design = Design() if base is None else Design.read(base)
    with ends_at_once():
        from moulddesign.fit import twin as twins  # noqa: PLC0415 (no geometry for other verbs)
        from moulddesign.fit.cavities import cavity_from_water  # noqa: PLC0415 (the same)

    mould = None if water is None else OwnedMould.of({"water_g": (water,)})
    filled = None if mould is None else cavity_from_water(mould, design)
    known = twins.KnownOfMould(
        name=target.stem,
        design=design,
        width_mm=width,
        height_mm=height,
        water=filled,
        tool=tool,
    )
    if is_mesh:
        with ends_at_once():
            from moulddesign.fit.mesh_cavities import way_up  # noqa: PLC0415 (the same)
            from moulddesign.geometry.fill_volume import upright  # noqa: PLC0415 (the same)
            from moulddesign.geometry.mesh_files import read_mesh  # noqa: PLC0415 (the same)

        made = twins.twin_of_scan(upright(read_mesh(sources[0]), way_up(up)), known)
    else:
        photos = twins.LampPhotos(
            paths=sources,
            azimuths_deg=_numbers("azimuths", azimuths),
            lamp_deg=lamp_height,
            marks=_marks(marks),
            depth_mm=_needed_depth(depth),
            is_impression=impression,
        )
        pastry = PastryTable.of({"outline": outline, "width_mm": width})
        made = twins.twin_of_photos(photos, pastry, known)
    _save(made, target, overwrite=overwrite)
    if as_json:
        files = [str(target), *(str(target.parent / name) for name in made.files)]
        print_json({"design": made.design.name, "files": files} | made.report())
    else:
        _print(made)


def _refuse_mixed(sources: list[Path], context: typer.Context) -> bool:
    """Return whether the source is a mesh; refuse what goes with neither a mesh nor photos."""
    meshes = [path for path in sources if path.suffix.lower() in MESHES]
    if meshes and len(sources) > 1:
        raise UsageError(say("cli.one-mesh-or-photos", file=meshes[0].name))
    given = {
        name
        for name in context.params
        if (source := context.get_parameter_source(name)) is not None
        and source.name == "COMMANDLINE"
    }
    if meshes:
        idle = next((name for name in OF_PHOTOS if name in given), None)
        if idle is not None:
            option = "--" + idle.replace("_", "-")
            raise UsageError(say("cli.idle-beside", option=option, other=meshes[0].name))
    elif "up" in given:
        raise UsageError(say("cli.idle-without", option="--up", needs="MESH"))
    return bool(meshes)


def _numbers(field: str, text: str | None) -> tuple[float, ...]:
    """Return numbers that are typed with commas between them."""
    parts = [] if text is None else text.replace(";", ",").split(",")
    unit = "deg" if field == "azimuths" else ""
    return tuple(read_number(field, part.strip(), unit) for part in parts)


def _marks(text: str | None) -> "Marks | None":
    from moulddesign.fit.lit_photos import Marks  # noqa: PLC0415 (loaded: photos are read)

    if text is None:
        return None
    found = _numbers("marks", text)
    if len(found) != FOUR:
        raise SpecError("marks", text, say("fit.marks-apart"))
    x1, y1, x2, y2 = found
    return Marks(x1=x1, y1=y1, x2=x2, y2=y2)


def _needed_depth(depth: float | None) -> float:
    if depth is None:
        raise SpecError("depth", "not given", say("fit.depth-needed"))
    return depth


def _save(made: "Twin", target: Path, *, overwrite: bool) -> None:
    for name in made.files:
        refuse_to_replace(target.parent / name, overwrite=overwrite)
    for name, content in made.files.items():
        save_bytes(target.parent / name, content, overwrite=overwrite)
    save_text(target, made.design.toml(), overwrite=overwrite)


def _print(made: "Twin") -> None:
    pastry = made.design.pastry
    volume, sd = ml_from_mm3(made.volume_mm3), ml_from_mm3(made.volume_sd_mm3)
    rows = [
        ("outline", Path(pastry.outline).name),
        ("width, mm", pastry.width_mm),
        ("height to the flat top, mm", made.height_mm),
        ("raised on it, mm", made.raised_mm),
        ("sunk into it, mm", made.sunk_mm),
        ("volume, mL", f"{volume:.1f} +- {2.0 * sd:.2g}"),
        ("finished weight, g", made.design.portion.finished_weight_g),
    ]
    out().print(table(made.design.name, ("the piece", ""), rows))
    for sentence in made.says:
        out().print(str(sentence), soft_wrap=True)
    names = ", ".join(made.files)
    said = f"Written: {made.design.name}.toml, {names}. Look at the picture first."
    err().print(said, soft_wrap=True, markup=False)
