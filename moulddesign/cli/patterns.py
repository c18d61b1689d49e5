"""`moulddesign patterns`: list and picture the artwork, and check a drawing of one's own."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from moulddesign.cli.console import ends_at_once, err, out, print_json, table
from moulddesign.cli.options import AsJson
from moulddesign.cli.saving import Overwrite, refuse_to_replace, save_bytes
from moulddesign.errors import FileError

if TYPE_CHECKING:
    from moulddesign.pastry.artwork_check import ArtworkCheck

app = typer.Typer(no_args_is_help=False, pretty_exceptions_enable=False)

Sheet = Annotated[
    Path | None, typer.Option("--sheet", metavar="FILE.png", help="Picture all patterns there.")
]
Size = Annotated[
    float, typer.Option("--size", metavar="MM", help="Larger side of the drawing's frame, mm.")
]


Picture = Annotated[
    Path | None,
    typer.Option("--picture", metavar="FILE.png", help="Ring thin strokes and gaps there."),
]


@app.callback(invoke_without_command=True)
def show(
    context: typer.Context,
    *,
    sheet: Sheet = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """List the bundled patterns, or picture them all on one sheet.

    Example: moulddesign patterns --sheet patterns.png
    """
    if context.invoked_subcommand is not None:
        return
    # The drawings are read late, so that the other verbs start without a geometry library.
    with ends_at_once():
        from moulddesign.pastry.catalogue import titles  # noqa: PLC0415

    found = titles()
    if sheet is not None:
        _refuse_path(sheet, overwrite=overwrite)
        with ends_at_once():
            from moulddesign.pastry.picturing import sheet_png  # noqa: PLC0415

        save_bytes(sheet, sheet_png(), overwrite=overwrite)
        err().print(f"Written: {sheet}", soft_wrap=True)
    if as_json:
        rows = [{"name": t.name, "title": t.title, "description": t.description} for t in found]
        print_json({"patterns": rows})
    else:
        shown = [(t.name, t.title) for t in found]
        out().print(table("Patterns", ("name", "what it shows"), shown))


def _refuse_path(path: Path, *, overwrite: bool) -> None:
    """Raise where a picture cannot go, before any work is done."""
    if path.suffix.lower() != ".png":
        raise FileError(str(path), "must end in .png")
    refuse_to_replace(path, overwrite=overwrite)


def _save_check(path: Path, found: "ArtworkCheck", *, overwrite: bool) -> None:
    with ends_at_once():
        from moulddesign.pastry.artwork_check import check_picture  # noqa: PLC0415
        from moulddesign.pastry.picturing import png  # noqa: PLC0415

    save_bytes(path, png(check_picture(found)), overwrite=overwrite)
    err().print(f"Written: {path}", soft_wrap=True)


@app.command("check")
def check(
    artwork: Annotated[str, typer.Argument(help="A pattern's name, or an SVG, PNG or JPEG file.")],
    *,
    size: Size = 60.0,
    picture: Picture = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> int:
    """Check whether a drawing reads at a size; exit 1 where a stroke or a gap is too thin.

    Example: moulddesign patterns check my-drawing.svg --size 50 --picture thin.png
    """
    with ends_at_once():
        from moulddesign.pastry.artwork_check import (  # noqa: PLC0415
            GOOD_GAP_MM,
            GOOD_STROKE_MM,
            check_artwork,
        )

    if picture is not None:
        _refuse_path(picture, overwrite=overwrite)
    found = check_artwork(artwork, Path(), size_mm=size)
    if picture is not None:
        _save_check(picture, found, overwrite=overwrite)
    thin = {
        name: None
        if place is None
        else {"width_mm": place.width_mm, "x_mm": place.x_mm, "y_mm": place.y_mm}
        for name, place in (("thin_stroke", found.thin_stroke), ("thin_gap", found.thin_gap))
    }
    plain = {
        "artwork": artwork, "frame_mm": size, "size_mm": [found.width_mm, found.height_mm],
        "regions": found.regions, "points": found.points, "covered": found.covered,
        "depth_shares": list(found.depth_shares), "least_good_stroke_mm": GOOD_STROKE_MM,
        "least_good_gap_mm": GOOD_GAP_MM, "reads": found.reads, **thin,
    }  # fmt: skip
    if as_json:
        print_json(plain)
    else:
        rows = [
            ("width and height, mm", f"{found.width_mm:.1f} x {found.height_mm:.1f}"),
            ("connected parts", found.regions),
            ("points", found.points),
            ("share of the square", f"{found.covered:.3f}"),
            ("shares of the depth", ", ".join(f"{share:g}" for share in found.depth_shares)),
            (f"stroke under {GOOD_STROKE_MM} mm", _place(thin["thin_stroke"])),
            (f"gap under {GOOD_GAP_MM} mm", _place(thin["thin_gap"])),
        ]
        out().print(table(f"{artwork} at {size:g} mm", ("", "value"), rows))
    return 0 if found.reads else 1


def _place(place: dict[str, float] | None) -> str:
    if place is None:
        return "none"
    return f"{place['width_mm']:.2f} mm at x {place['x_mm']:.1f}, y {place['y_mm']:.1f}"
