"""The bench card: a PDF for the baker, the printer and the wall, and its pages as pictures."""

import json
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import files
from math import ceil
from pathlib import Path
from typing import Any, Final

import numpy as np
import typst
from pydantic import BaseModel

from moulddesign import __version__
from moulddesign.building import PASTRY, Build
from moulddesign.core import KernelError, Message, Verdict, say
from moulddesign.design import Kind, PieceComposition, PressTable, Purpose
from moulddesign.export.entities import TIMES, format_number
from moulddesign.export.fonts import Fonts, bold_font_path, regular_font_path, with_word_breaks
from moulddesign.export.formats import Paper
from moulddesign.export.views import state_of
from moulddesign.kitchen import Recipe
from moulddesign.portion import KnownCentre, LossSource, allergens, roll_for, silent_names


def parts_table(rows: Sequence[dict[str, Any]], layer_mm: float) -> dict[str, Any]:
    """Return heads, a row for each part to print, and their total, from the report's parts.

    A row has name, size, layers, grams, metres, time, cost where a price is known, and files.
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
        with_word_breaks(row["name"]),
        f" {TIMES} ".join(f"{length:.1f}" for length in row["size_mm"]),
        f"{row['size_mm'][2] / layer_mm:.0f}",
        *_sums([row], priced=priced),
        ", ".join(map(with_word_breaks, row["files"])),
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

    Examples
    --------
    >>> duration(45.2), duration(119.8)
    ('45 min', '2 h 00 min')
    """
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02} min" if hours else f"{rest} min"


MOST_LISTED: Final = 3
"""Kinds of centres that the batch lists one by one."""

DOUGHS: Final = {
    PieceComposition.WRAPPED: "Crust dough",
    PieceComposition.SOLID: "Dough",
    PieceComposition.POURED: "Mass to pour",
}
"""What is weighed for the crust, or for the whole."""

LOSS_SOURCES: Final = {
    LossSource.GIVEN: "the design",
    LossSource.DOUGHS: "dry-matter balance of the named doughs: "
    "common practice, no source; weigh a trial",
    LossSource.UNMEASURED: "unmeasured, from memory for a thin syrup crust; weigh a trial",
}

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


def card_figures(build: Build, recipe: Recipe | None) -> dict[str, Any]:
    """Return everything that a card says, as plain values of text and lists.

    A recipe's ingredients tell the allergens, where one is known.
    """
    report = build.report()
    return {
        "title": build.design.name,
        "name": with_word_breaks(build.design.name),
        "program": f"moulddesign {__version__}",
        "failed": [with_word_breaks(name) for name in build.failed],
        "weights": list(_weights(build)),
        "totals": _totals(build),
        "step": format_number(build.design.scale.resolution_g),
        "made_of": _made_of(build),
        "exact_ratio": f" The ratio is then {build.portion.split.ratio}."
        if build.portion.is_filled
        else "",
        "label": _label(build),
        "rounding": "" if (said := _rounding(build)) is None else str(said),
        "inlays": " ".join(with_word_breaks(str(said)) for said in build.inlay_sentences),
        "loss": ", loss unmeasured" if build.design.portion.is_loss_unmeasured else "",
        "shapes": list(_shapes(build)),
        "others": [with_word_breaks(one.stamp_name) for one in build.further],
        "state": state_of(build),
        "batch": _batch(build),
        "parts": parts_table(report["parts"], build.design.printer.layer_height_mm),
        "order": [with_word_breaks(part.name) for part in build.mould.assembled],
        "print_g": _grams(sum(part["print_g"] for part in report["parts"])),
        "settings": list(_settings(build)),
        "silicone": _silicone(report["mould"]),
        "use": _use(build),
        "material_caution": build.design.printer.plastic.caution,
        "cautions": report["cautions"],
        "allergens": _allergens(build, recipe),
        "sources": [list(row) for row in _sources(build)],
        "findings": _findings(build),
    }


def _made_of(build: Build) -> str:
    """Return what a piece consists of, and that it is no food where it is none."""
    table = build.design.portion
    filled = build.portion.is_filled
    said = f"crust to filling {table.ratio} by mass" if filled else table.composition.value
    return f"NOT FOOD, {said}" if table.purpose is Purpose.NOT_FOOD else said


def _weights(build: Build) -> Iterator[list[str]]:
    """Yield what is weighed: name, grams as the scale shows them, grams exactly."""
    made = build.portion
    piece, split = made.piece, made.split
    unsure = ", by a loss that nobody measured" if build.design.portion.is_loss_unmeasured else ""
    dough = DOUGHS[made.composition]
    yield [dough, _grams(split.crust_g), f"{piece.crust_g:.2f} g{unsure}"]
    if not made.is_filled:
        return
    names = [
        with_word_breaks(f"{one.count} {TIMES} {one.name}" if one.count > 1 else one.name)
        for one in made.centres
    ]
    if made.together:
        low_g, high_g = split.paste_range_g
        each = zip(names, made.centres, strict=True)
        listed = ", ".join(f"{name} ({_grams(one.total_g)} g)" for name, one in each)
        first = f"first {listed}, then paste up to this weight: {low_g:.1f} to {high_g:.1f} g of it"
        title = f"Paste with {names[0]}" if len(names) == 1 else "Paste with centres"
        yield [title, _grams(split.filling_g), first]
        return
    yield ["Filling paste", _grams(split.paste_g), f"{piece.paste_g:.2f} g{unsure}"]
    for name, one in zip(names, made.centres, strict=True):
        yield [name, _grams(one.total_g), "counted, not weighed"]


def _totals(build: Build) -> list[str]:
    """Return raw and finished weight of a piece."""
    return [_grams(build.portion.split.raw_g), _grams(build.portion.piece.finished_g)]


def _rounding(build: Build) -> Message | None:
    """Return what rounding to the scale does to the pressed height."""
    return build.portion.rounding(build.design.mould.kind, build.pastry.outline.area_mm2)


def _label(build: Build) -> str:
    target = build.portion.label
    if target is None:
        return ""
    finished = f"{build.portion.piece.finished_g:.1f}"
    label, short = format_number(target.label_g), format_number(target.deficiency_g)
    return (
        f"These weights give {finished} g finished, for a label of {label} g (deficiency of "
        f"{short} g a pack; guidance only, local law decides)."
    )


def _shapes(build: Build) -> Iterator[list[str]]:
    """Yield what to roll: name and size."""
    balls, outline = build.portion.balls, build.pastry.outline
    poured = build.portion.composition is PieceComposition.POURED
    if balls.disc_mm is not None:
        yield ["Ball of crust dough", f"⌀ {balls.crust_mm:.0f} mm"]
        yield ["…rolled to a disc", f"⌀ {balls.disc_mm:.0f} {TIMES} {balls.shell_mm:.1f} mm"]
        yield ["Ball of filling with centres", f"⌀ {balls.filling_mm:.0f} mm"]
        yield ["Wrapped ball", f"⌀ {balls.wrapped_mm:.0f} mm"]
    elif not poured:
        yield ["Ball of dough", f"⌀ {balls.wrapped_mm:.0f} mm"]
    bore_mm = min(outline.width_mm, outline.depth_mm)
    roll = None if poured else roll_for(build.design, build.portion.piece, bore_mm)
    if roll is not None:
        form = "□" if build.design.pastry.outline == "square" else "⌀"
        size = f"{form} {roll.across_mm:.0f} {TIMES} {roll.length_mm:.0f} mm"
        yield ["…shaped to enter the mould", size]
    yield ["Pressed height, to the flat top", f"{build.pastry.height_mm:.1f} mm"]
    for one in build.further:
        yield [f"…under {with_word_breaks(one.stamp_name)}", f"{one.pastry.height_mm:.1f} mm"]
    yield ["Pressed width", f"{format_number(outline.width_mm)} mm"]
    if build.interior.is_filled:
        yield ["Crust all round", f"{build.interior.crust_mm:.1f} mm"]


def _batch(build: Build) -> dict[str, Any]:
    """Return totals of crust and paste for some numbers of pieces, without any losses."""
    split, asked = build.portion.split, build.design.batch.pieces
    counts = sorted({*PIECES, asked}) if asked is not None else list(PIECES)
    centres = [(with_word_breaks(c.name), c.count) for c in build.design.portion.centres]
    if len(centres) > MOST_LISTED:
        centres = [("Centres of all kinds", sum(each for _, each in centres))]
    return {
        "heads": [str(count) for count in counts],
        "doughs": [
            [f"{name}, g", *[_grams(count * each_g) for count in counts]]
            for name, each_g in (
                (DOUGHS[build.portion.composition], split.crust_g),
                ("Filling paste", split.paste_g),
            )
            if each_g > 0.0
        ],
        "centres": [[name, *[str(each * count) for count in counts]] for name, each in centres],
    }


def _settings(build: Build) -> Iterator[list[str]]:
    printer, mould = build.design.printer, build.design.mould
    yield ["Material", printer.material]
    yield [
        "Nozzle, line width",
        f"{format_number(printer.nozzle_mm)} mm, {format_number(printer.line_width_mm)} mm",
    ]
    yield ["Layer height", f"{format_number(printer.layer_height_mm)} mm"]
    yield ["Orientation", "as each part lies in its file"]
    yield ["Supports", "none"]
    yield ["Infill", "100 %: hollows that fill with water never dry"]
    if isinstance(mould, PressTable):
        clearance = f"{format_number(mould.clearance_mm)} mm each side; print the gauge first"
        yield ["Clearance", clearance]
    yield ["Least bed", _bed(build)]


def _silicone(mould: Mapping[str, Any]) -> str:
    """Return what to mix for a casting master; nothing for other moulds."""
    if "silicone_ml" not in mould:
        return ""
    return f"{mould['silicone_ml']:.0f} mL, {mould['silicone_g']:.0f} g"


def _use(build: Build) -> str:
    """Return what is done with the mould, and which stamps can be swapped."""
    use = USES[build.design.mould.kind]
    if not build.further:
        return use
    others = ", ".join(with_word_breaks(one.stamp_name) for one in build.further)
    return f"{use} In the stamp's place on the same plunger: {others}."


def _bed(build: Build) -> str:
    """Return the least bed that takes each part by itself."""
    printed = {name: m for name, m in build.meshes.items() if name.partition("-")[0] != PASTRY}
    largest = np.max([mesh.size_mm for mesh in printed.values()], axis=0)
    # Up to the next millimetre, or the largest part would not fit; float32 adds less than 0.001.
    return f" {TIMES} ".join(f"{ceil(length - 0.001)}" for length in largest) + " mm"


def _allergens(build: Build, recipe: Recipe | None) -> str:
    """Return what the names of ingredients and centres tell; a name unknown tells nothing."""
    if build.design.portion.purpose is Purpose.NOT_FOOD:
        return "No food: not to be eaten."
    centres = [centre.name for centre in build.portion.centres]
    silent = silent_names(dict.fromkeys(centres))
    names = [name for name in centres if name not in silent]
    names += [one.food for one in build.portion.centres if one.food is not None]
    if recipe is not None:
        names += [line.food for line in recipe.lines]
    said = [] if recipe is not None else ["No recipe is known, so crust and paste are not judged."]
    if silent:
        said.append(f"Nothing is known of {', '.join(map(with_word_breaks, silent))}.")
    if names:
        whose = "centres" if recipe is None else "recipe and centres" if centres else "recipe"
        found = ", ".join(allergens(names)) or "no allergen"
        said.append(f"The names in the {whose} point to: {found}.")
    return " ".join([*said, "Read every packet all the same."])


def _sources(build: Build) -> Iterator[tuple[str, str, str]]:
    """Yield the figures that the weights depend on: name, value, source."""
    design = build.design
    for table in (design.portion, design.scale):
        yield from _given(table)
    yield from _centre_sources(build.portion.centres)
    figures = build.portion
    for part, density in (("crust", figures.crust_density), ("paste", figures.filling_density)):
        shown = f"{density.g_per_ml:.3f} +- {density.sd_g_per_ml:.3f} g/mL"
        yield f"density of the {part}", shown, density.source
    loss = f"{figures.loss.ratio:.3f} +- {figures.loss.uncertainty:.3f}"
    yield "loss in baking and resting", loss, LOSS_SOURCES[figures.loss.source]
    piece = build.portion.piece
    for name, value in (
        ("raw weight", f"{piece.raw_g:.2f} g"),
        ("pressed volume", f"{piece.volume_ml:.2f} mL"),
        ("pressed height", f"{build.pastry.height_mm:.2f} mm"),
        *(
            [("crust thickness", f"{build.interior.crust_mm:.2f} mm")]
            if build.interior.is_filled
            else []
        ),
    ):
        yield name, value, "computed from the figures above"
    material = design.printer.plastic
    solid = f"{format_number(material.density_g_per_ml)} g/mL"
    yield design.printer.material, solid, material.source


def _centre_sources(centres: Sequence[KnownCentre]) -> Iterator[tuple[str, str, str]]:
    """Yield the figures of the centres; one that several share comes once."""
    whose: dict[tuple[str, str, str], list[str]] = {}
    for centre in centres:
        density = f"{centre.density_g_per_ml:.3g} +- {centre.density_sd_g_per_ml:.2g} g/mL"
        for row in (
            ("mass of one", f"{centre.mass_g:g} +- {centre.mass_sd_g:.2g} g", "the design"),
            ("density", density, centre.density_source),
        ):
            whose.setdefault(row, []).append(with_word_breaks(centre.name))
    for (name, value, source), names in sorted(whose.items(), key=lambda row: len(row[1])):
        shared = "each centre" if len(names) == len(centres) else f"{len(names)} centres"
        yield f"{names[0] if len(names) == 1 else shared}: {name}", value, source


STATED_ELSEWHERE: Final = {
    "name", "counts_in", "loss", "loss_uncertainty", "crust_density_g_per_ml",
    "crust_density_sd_g_per_ml", "filling_density_g_per_ml", "filling_density_sd_g_per_ml",
}  # fmt: skip
"""Fields that no row of their own is for."""


def _given(table: BaseModel) -> Iterator[tuple[str, str, str]]:
    """Yield the figures of a table of the design, each with its source."""
    for key, field in type(table).model_fields.items():
        value = getattr(table, key)
        if value is None or isinstance(value, tuple) or key in STATED_ELSEWHERE:
            continue
        extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
        source = str(extra.get("source", "")) if value == field.default else "the design"
        shown = format_number(value) if isinstance(value, float) and value >= 1.0 else _plain(value)
        yield field.description or key, f"{shown} {extra.get('unit', '')}".strip(), source


def _plain(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else f"{value}"


def _findings(build: Build) -> dict[str, Any]:
    return {
        "good": sum(found.verdict is Verdict.GOOD for found in build.findings),
        "others": [
            [
                found.verdict.value,
                with_word_breaks(found.name),
                _measured(found.measured),
                str(found.limit) if found.remedy is None else f"{found.limit}; {found.remedy}",
            ]
            for found in build.findings
            if found.verdict is not Verdict.GOOD
        ],
    }


def _measured(value: float | Message) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _grams(mass_g: float) -> str:
    """Return grams as a scale shows them, at most one decimal."""
    return f"{mass_g:.1f}".removesuffix(".0")


PAPERS: Final = {Paper.A4: "a4", Paper.LETTER: "us-letter"}
"""Names of the papers in the template's language."""

PAGE_PPI: Final = 150.0
"""Resolution of the pictures: small print reads well on a screen of any size [px/inch]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Card:
    """A bench card; the same values are the same bytes."""

    figures: Mapping[str, Any]
    """What `card_figures` returns, and what the relief's caption says."""
    pictures: Mapping[str, bytes]
    """PNG or SVG files by name: `pastry.png`, `parts.png`, `print.png`, `relief.png`,
    `section.svg`; `other-0.png` and so on, one for each of the figures' `others`."""
    paper: Paper
    fonts: Fonts

    def pdf(self) -> bytes:
        """Return it as a PDF file; raise `KernelError` where it cannot be typeset."""
        with self._compiler() as compiler:
            made: bytes = _compiled(compiler, format="pdf")
            return made

    def pngs(self) -> tuple[bytes, ...]:
        """Return each page as a PNG file; raise `KernelError` where it cannot be typeset."""
        with self._compiler() as compiler:
            made = _compiled(compiler, format="png", ppi=PAGE_PPI)
            return tuple(made) if isinstance(made, list) else (made,)

    @contextmanager
    def _compiler(self) -> Iterator[typst.Compiler]:
        # The title goes into the file's metadata, where no font limits it.
        as_they_are = {"title": self.figures["title"], "paper": PAPERS[self.paper]}
        shown = self.fonts.all_with_code_points(dict(self.figures)) | as_they_are
        with tempfile.TemporaryDirectory(prefix="moulddesign-") as folder:
            root = Path(folder)
            for name, content in self.pictures.items():
                (root / name).write_bytes(content)
            template = files("moulddesign") / "data" / "card.typ"
            (root / "card.typ").write_bytes(template.read_bytes())
            # Font by font: matplotlib's folder also holds one of last resort, which prints boxes
            # for what is missing.
            fonts = root / "fonts"
            fonts.mkdir()
            for number, font in enumerate(
                (regular_font_path(), bold_font_path(), *self.fonts.files)
            ):
                shutil.copyfile(font, fonts / f"{number}{font.suffix}")
            yield typst.Compiler(
                str(root / "card.typ"),
                root=folder,
                font_paths=[str(fonts)],
                ignore_system_fonts=True,
                sys_inputs={"card": json.dumps(shown, ensure_ascii=False)},
            )


def _compiled(compiler: typst.Compiler, **form: Any) -> Any:  # noqa: ANN401 (bytes, or a list)
    try:
        return compiler.compile(**form)
    except typst.TypstError as error:
        raise KernelError(
            say("export.the-bench-card"), say("export.typesetter-refuses", reason=str(error))
        ) from error
