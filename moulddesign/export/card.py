"""The bench card: a PDF for the baker, the printer and the wall, and its pages as pictures."""

import json
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import typst
from pydantic import BaseModel

from moulddesign import __version__
from moulddesign.building import PASTRY, Build
from moulddesign.core import KernelError, Message, Verdict
from moulddesign.design import Centre, Kind, PressTable
from moulddesign.export.assembly_view import state_of
from moulddesign.export.glyphs import Faces, bold_path, breakable, face_path
from moulddesign.export.ink import TIMES, number
from moulddesign.export.options import Paper
from moulddesign.kitchen import Recipe, allergens
from moulddesign.portion import roll_for


def parts_table(rows: Sequence[dict[str, Any]], layer_mm: float) -> dict[str, Any]:
    """Return heads, a row for each part to print, and their total where there are several.

    Parameters
    ----------
    rows : sequence of dict
        The parts as the report has them.
    layer_mm : float
        Layer height [mm].

    Returns
    -------
    dict
        `heads` and `rows` of name, size, layers, grams, metres, time, price where one is
        known, and files; `total`.
    """
    printed = [row for row in rows if row["print_g"] > 0.0]  # a pastry takes no filament
    priced = all(row["print_price"] is not None for row in printed)
    price = ["Cost"] if priced else []
    return {
        "heads": [
            "Part",
            "Size in its file, mm",
            "Layers",
            "g",
            "m",
            "Least time",
            *price,
            "Files",
        ],
        "rows": [_row(row, layer_mm, priced=priced) for row in printed],
        "total": ["Together", "", "", *_sums(printed, priced=priced), ""],
    }


def _row(row: dict[str, Any], layer_mm: float, *, priced: bool) -> list[str]:
    return [
        breakable(row["name"]),
        f" {TIMES} ".join(f"{length:.1f}" for length in row["size_mm"]),
        f"{row['size_mm'][2] / layer_mm:.0f}",
        *_sums([row], priced=priced),
        ", ".join(map(breakable, row["files"])),
    ]


def _sums(rows: Sequence[dict[str, Any]], *, priced: bool) -> list[str]:
    """Return grams, metres, time and price of parts."""
    grams, metres, minutes = (
        sum(row[key] for row in rows) for key in ("print_g", "filament_m", "least_print_min")
    )
    money = [f"{sum(row['print_price'] for row in rows):.2f}"] if priced else []
    return [f"{grams:.0f}", f"{metres:.1f}", duration(minutes), *money]


def duration(minutes: float) -> str:
    """Return a time in hours and minutes.

    Parameters
    ----------
    minutes : float
        The time.

    Examples
    --------
    >>> duration(45.2), duration(119.8)
    ('45 min', '2 h 00 min')
    """
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02} min" if hours else f"{rest} min"


MOST_LISTED: Final = 3
"""Kinds of centres that the batch lists one by one."""

USES: Final = {
    Kind.PRESS: "Set the sleeve over the wrapped piece and press the stamp down with the plunger; "
    "lift everything off the table and push the pastry out.",
    Kind.BLOCK: "Press the wrapped piece into the cavity, level it, turn the block over and knock "
    "the pastry out.",
    Kind.CAST: "Pour silicone over the master to the brim; cured, it is the mould, and its hollows "
    "are the pastries.",
}
"""What is done with each kind of mould, in short."""

PIECES: Final = (12, 24, 48)
"""Batches that the card totals besides the design's own."""


def card_figures(made: Build, recipe: Recipe | None) -> dict[str, Any]:
    """Return everything that stands on a card, as plain values of text and lists.

    Parameters
    ----------
    made : Build
        The build.
    recipe : Recipe or None
        Its ingredients tell the allergens, where it is known.
    """
    report = made.report()
    return {
        "title": made.design.name,
        "name": breakable(made.design.name),
        "program": f"moulddesign {__version__}",
        "failed": [breakable(name) for name in made.failed],
        "weights": list(_weights(made)),
        "totals": _totals(made),
        "step": number(made.design.scale.resolution_g),
        "ratio": [made.design.portion.ratio, made.portion.split.ratio],
        "label": _label(made),
        "shapes": list(_shapes(made)),
        "others": [breakable(one.stamp_name) for one in made.further],
        "state": state_of(made),
        "batch": _batch(made),
        "parts": parts_table(report["parts"], made.design.printer.layer_height_mm),
        "order": [breakable(part.name) for part in made.mould.assembled],
        "print_g": _grams(sum(part["print_g"] for part in report["parts"])),
        "settings": list(_settings(made)),
        "silicone": _silicone(report["mould"]),
        "use": _use(made),
        "material_caution": made.design.printer.plastic.caution,
        "cautions": report["cautions"],
        "allergens": _allergens(made, recipe),
        "sources": [list(row) for row in _sources(made)],
        "findings": _findings(made),
    }


def _weights(made: Build) -> Iterator[list[str]]:
    """Yield what is set on the scale: name, grams as the scale shows them, grams exactly."""
    piece, split = made.portion.piece, made.portion.split
    yield ["Crust dough", _grams(split.crust_g), _exact(piece.crust_g)]
    yield ["Filling paste", _grams(split.paste_g), _exact(piece.paste_g)]
    for centre in made.design.portion.centres:
        name = f"{centre.count} {TIMES} {centre.name}" if centre.count > 1 else centre.name
        yield [breakable(name), _grams(centre.count * centre.mass_g), "counted, not weighed"]


def _totals(made: Build) -> list[str]:
    """Return raw and finished weight of a piece."""
    return [_grams(made.portion.split.raw_g), _grams(made.portion.piece.finished_g)]


def _label(made: Build) -> str:
    target = made.portion.label
    if target is None:
        return ""
    finished = f"{made.portion.piece.finished_g:.1f}"
    return (
        f"These weights give {finished} g finished, for a label of {number(target.label_g)} g "
        f"(deficiency of {number(target.deficiency_g)} g a pack; guidance only, local law decides)."
    )


def _shapes(made: Build) -> Iterator[list[str]]:
    """Yield what to roll: name and size."""
    balls, outline = made.portion.balls, made.pastry.outline
    yield ["Ball of crust dough", f"⌀ {balls.crust_mm:.0f} mm"]
    yield ["…rolled to a disc", f"⌀ {balls.disc_mm:.0f} {TIMES} {balls.shell_mm:.1f} mm"]
    yield ["Ball of filling with centres", f"⌀ {balls.filling_mm:.0f} mm"]
    yield ["Wrapped ball", f"⌀ {balls.wrapped_mm:.0f} mm"]
    bore_mm = min(outline.width_mm, outline.depth_mm)
    roll = roll_for(made.design, made.portion.piece, bore_mm)
    if roll is not None:
        form = "□" if made.design.pastry.outline == "square" else "⌀"
        size = f"{form} {roll.across_mm:.0f} {TIMES} {roll.length_mm:.0f} mm"
        yield ["…shaped to enter the mould", size]
    yield ["Pressed height, to the flat top", f"{made.pastry.height_mm:.1f} mm"]
    for one in made.further:
        yield [f"…under {breakable(one.stamp_name)}", f"{one.pastry.height_mm:.1f} mm"]
    yield ["Pressed width", f"{number(outline.width_mm)} mm"]
    yield ["Crust all round", f"{made.interior.crust_mm:.1f} mm"]


def _batch(made: Build) -> dict[str, Any]:
    """Return totals of crust and paste for some numbers of pieces, without any losses."""
    split, asked = made.portion.split, made.design.batch.pieces
    counts = sorted({*PIECES, asked}) if asked is not None else list(PIECES)
    centres = [(breakable(c.name), c.count) for c in made.design.portion.centres]
    if len(centres) > MOST_LISTED:
        centres = [("Centres of all kinds", sum(each for _, each in centres))]
    return {
        "heads": [str(count) for count in counts],
        "crust": [_grams(count * split.crust_g) for count in counts],
        "paste": [_grams(count * split.paste_g) for count in counts],
        "centres": [[name, *[str(each * count) for count in counts]] for name, each in centres],
    }


def _settings(made: Build) -> Iterator[list[str]]:
    printer, mould = made.design.printer, made.design.mould
    yield ["Material", printer.material]
    yield [
        "Nozzle, line width",
        f"{number(printer.nozzle_mm)} mm, {number(printer.line_width_mm)} mm",
    ]
    yield ["Layer height", f"{number(printer.layer_height_mm)} mm"]
    yield ["Orientation", "as each part lies in its file"]
    yield ["Supports", "none"]
    yield ["Infill", "100 %: hollows that fill with water never dry"]
    if isinstance(mould, PressTable):
        yield ["Clearance", f"{number(mould.clearance_mm)} mm each side; print the gauge first"]
    yield ["Least bed", _bed(made)]


def _silicone(mould: Mapping[str, Any]) -> str:
    """Return what to mix for a casting master; nothing for other moulds."""
    if "silicone_ml" not in mould:
        return ""
    return f"{mould['silicone_ml']:.0f} mL, {mould['silicone_g']:.0f} g"


def _use(made: Build) -> str:
    """Return what is done with the mould, and which stamps can be swapped."""
    use = USES[made.design.mould.kind]
    if not made.further:
        return use
    others = ", ".join(breakable(one.stamp_name) for one in made.further)
    return f"{use} In the stamp's place on the same plunger: {others}."


def _bed(made: Build) -> str:
    printed = {name: m for name, m in made.meshes.items() if name.partition("-")[0] != PASTRY}
    sizes = [mesh.size_mm for mesh in printed.values()]
    return (
        f" {TIMES} ".join(f"{max(size[axis] for size in sizes):.0f}" for axis in range(3)) + " mm"
    )


def _allergens(made: Build, recipe: Recipe | None) -> str:
    names = [centre.name for centre in made.design.portion.centres]
    if recipe is not None:
        names += [line.food for part in (recipe.crust, recipe.filling) for line in part.ingredients]
    found = allergens(names)
    whose = "the recipe and the centres" if recipe is not None else "the centres (no recipe known)"
    if not found:
        return f"The names in {whose} point to no allergen; read every packet all the same."
    return f"The names in {whose} point to: {', '.join(found)}. Read every packet all the same."


def _sources(made: Build) -> Iterator[tuple[str, str, str]]:
    """Yield where each figure that the weights rest on comes from: name, value, source."""
    design = made.design
    for table in (design.portion, design.scale):
        yield from _given(table)
    yield from _centre_sources(design.portion.centres)
    piece = made.portion.piece
    for name, value in (
        ("raw weight", f"{piece.raw_g:.2f} g"),
        ("pressed volume", f"{piece.volume_ml:.2f} mL"),
        ("pressed height", f"{made.pastry.height_mm:.2f} mm"),
        ("crust thickness", f"{made.interior.crust_mm:.2f} mm"),
    ):
        yield name, value, "computed from the figures above"
    material = design.printer.plastic
    yield f"{design.printer.material}", f"{number(material.density_g_per_ml)} g/mL", material.source


def _centre_sources(centres: Sequence[Centre]) -> Iterator[tuple[str, str, str]]:
    """Yield the figures of the centres; those that several share stand there once."""
    whose: dict[tuple[str, str, str], list[str]] = {}
    for centre in centres:
        for row in _given(centre):
            whose.setdefault(row, []).append(breakable(centre.name))
    for (name, value, source), names in sorted(whose.items(), key=lambda row: len(row[1])):
        shared = "each centre" if len(names) == len(centres) else f"{len(names)} centres"
        yield f"{names[0] if len(names) == 1 else shared}: {name}", value, source


def _given(table: BaseModel) -> Iterator[tuple[str, str, str]]:
    """Yield the figures of a table of the design, each with its source."""
    for key, field in type(table).model_fields.items():
        value = getattr(table, key)
        if value is None or isinstance(value, tuple) or key in {"name", "counts_in"}:
            continue
        extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
        source = str(extra.get("source", "")) if value == field.default else "the design"
        shown = number(value) if isinstance(value, float) and value >= 1.0 else f"{value}"
        yield field.description or key, f"{shown} {extra.get('unit', '')}".strip(), source


def _findings(made: Build) -> dict[str, Any]:
    return {
        "good": sum(found.verdict is Verdict.GOOD for found in made.findings),
        "others": [
            [
                found.verdict.value,
                breakable(found.name),
                _measured(found.measured),
                str(found.limit),
            ]
            for found in made.findings
            if found.verdict is not Verdict.GOOD
        ],
    }


def _measured(value: float | Message) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _grams(mass_g: float) -> str:
    """Return grams as a scale shows them, at most one decimal."""
    return f"{mass_g:.1f}".removesuffix(".0")


def _exact(mass_g: float) -> str:
    return f"{mass_g:.2f} g"


PAPERS: Final = {Paper.A4: "a4", Paper.LETTER: "us-letter"}
"""Names of the papers in the template's language."""

PAGE_PPI: Final = 150.0
"""Resolution of the pictures: small print reads well on a screen of any size [px/inch]."""

FACES: Final = "faces"
"""Folder of the fonts, beside the page."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Card:
    """What stands on a bench card; the same values are the same bytes.

    Parameters
    ----------
    figures : mapping
        What `card_figures` returned, and what the relief's caption says.
    pictures : mapping of str to bytes
        PNG or SVG files by name: `pastry.png`, `parts.png`, `print.png`, `relief.png`,
        `section.svg`; `other-0.png` and so on under the figures' `others`.
    paper : Paper
        What it is printed on.
    faces : Faces
        What it is lettered with; code points stand in the place of what they lack.
    """

    figures: Mapping[str, Any]
    pictures: Mapping[str, bytes]
    paper: Paper
    faces: Faces

    def pdf(self) -> bytes:
        """Return it as a PDF file.

        Raises
        ------
        KernelError
            The page could not be set.
        """
        with self._typesetter() as typesetter:
            made: bytes = _set(typesetter, format="pdf")
            return made

    def pngs(self) -> tuple[bytes, ...]:
        """Return each page as a PNG file.

        Raises
        ------
        KernelError
            A page could not be set.
        """
        with self._typesetter() as typesetter:
            made = _set(typesetter, format="png", ppi=PAGE_PPI)
            return tuple(made) if isinstance(made, list) else (made,)

    @contextmanager
    def _typesetter(self) -> Iterator[typst.Compiler]:
        own = {"title": self.figures["title"], "paper": PAPERS[self.paper]}
        said = self.faces.all_marked(dict(self.figures)) | own
        with tempfile.TemporaryDirectory(prefix="moulddesign-") as folder:
            root = Path(folder)
            for name, content in self.pictures.items():
                (root / name).write_bytes(content)
            template = files("moulddesign") / "data" / "card.typ"
            (root / "card.typ").write_bytes(template.read_bytes())
            _gather(self.faces, root / FACES)
            yield typst.Compiler(
                str(root / "card.typ"),
                root=folder,
                font_paths=[str(root / FACES)],
                ignore_system_fonts=True,
                sys_inputs={"card": json.dumps(said, ensure_ascii=False)},
            )


def _gather(faces: Faces, folder: Path) -> None:
    """Copy the fonts into a folder, and no others.

    The folder of our own face holds one of last resort, which prints boxes for what is missing.
    """
    folder.mkdir()
    for place, font in enumerate((face_path(), bold_path(), *faces.files)):
        shutil.copyfile(font, folder / f"{place}{font.suffix}")


def _set(typesetter: typst.Compiler, **form: Any) -> Any:  # noqa: ANN401 (bytes, or a list of them)
    try:
        return typesetter.compile(**form)
    except typst.TypstError as error:
        raise KernelError("the bench card", f"the page could not be set: {error}") from error
