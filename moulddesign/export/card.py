"""The bench card: a PDF for the baker, the printer and the wall, and its pages as pictures."""

import json
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib.resources import files
from math import ceil
from pathlib import Path
from typing import Any, Final

import numpy as np
import typst

from moulddesign.artwork.font_files import regular_font
from moulddesign.building import PASTRY, Build, set_file
from moulddesign.core import (
    KernelError,
    Message,
    SpecError,
    Verdict,
    in_words,
    part_name,
    say,
    source_of,
    word,
)
from moulddesign.design import CastTable, Kind, Paper, PrinterTable
from moulddesign.design.services import Process
from moulddesign.export.card_piece import COMPUTED, grams, piece_figures
from moulddesign.export.entities import TIMES, format_number
from moulddesign.export.fonts import Fonts, breaking, with_word_breaks
from moulddesign.export.views import state_of
from moulddesign.kitchen import Recipe
from moulddesign.kitchen.batch import is_baked
from moulddesign.kitchen.oven import (
    CORE_C,
    CoreShape,
    core_time,
    heat_properties,
    inside_composition,
)
from moulddesign.mould import PressLayout, infill_of
from moulddesign.mould.press import SHIM
from moulddesign.mould.print_estimate import LEAN, SOLID

PROCESSES: Final = {
    Process.FFF: say("export.order-fff"),
    Process.RESIN: say("export.order-resin"),
    Process.POWDER: say("export.order-powder"),
}

SLICED: Final = "slicer_print_min"
"""Key of a part's time as a slicer says, where one was named."""
LONG_MIN: Final = 90.0
"""Times from so long on are told in hours [min]."""


def parts_table(rows: Sequence[dict[str, Any]], layer_mm: float) -> dict[str, Any]:
    """Return heads, a row for each part to print, and their total, from the report's parts.

    A row has name, size, layers, grams solid and lean, its infill, its likely time, cost where a
    price is known, and files.
    """
    printed = [row for row in rows if row["print_g"] > 0.0]  # a pastry takes no filament
    if any("infill_ratio" not in row for row in printed):
        return _ordered_table(printed)
    shims = [row for row in printed if row["name"].startswith(SHIM)]
    parts = [row for row in printed if row not in shims]
    priced = all(row["print_price"] is not None for row in printed)
    sliced = all(SLICED in row for row in printed)
    time = say("export.card-slicer-time") if sliced else say("export.card-likely-time")
    of_time = say("export.card-slicer-time-is") if sliced else say("export.card-likely-time-is")
    return {
        "heads": [
            say("export.card-part"),
            say("export.card-file-size"),
            say("export.card-layers"),
            say("export.card-solid-g"),
            say("export.card-lean-g", percent=100.0 * LEAN.density),
            say("export.card-infill"),
            time,
            *([say("export.card-cost")] if priced else []),
            say("export.card-files"),
        ],
        "caption": (of_time, say("export.card-cost-is") if priced else ""),
        "rows": [
            *(_row(row, layer_mm, priced=priced) for row in parts),
            *([_shims_row(shims, priced=priced)] if shims else []),
        ],
        "total": [say("export.card-together"), "", "", *_sums(printed, "", priced=priced), ""],
    }


def _ordered_table(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return the table of parts that a service prints, who knows layers, infill and time."""
    return {
        "heads": [
            say("export.card-part"),
            say("export.card-file-size"),
            say("export.card-solid-g"),
            say("export.card-files"),
        ],
        "caption": say("export.card-order-sheet"),
        "rows": [
            [
                breaking(part_name(row["name"])),
                _size(row),
                f"{row['print_g']:.0f}",
                ", ".join(map(with_word_breaks, row["files"])),
            ]
            for row in rows
        ],
        "total": [
            say("export.card-together"), "", f"{sum(row['print_g'] for row in rows):.0f}", ""
        ],
    }  # fmt: skip


def _size(row: Mapping[str, Any]) -> str:
    return f" {TIMES} ".join(f"{length:.1f}" for length in row["size_mm"])


def _filled_g(row: Mapping[str, Any]) -> float:
    """Return the grams of a part with its own infill; a pastry has none."""
    is_lean = row.get("infill_ratio", 1.0) < 1.0
    return float(row["lean_print_g"] if is_lean else row["print_g"])


def _row(row: dict[str, Any], layer_mm: float, *, priced: bool) -> list[Message | str]:
    return [
        breaking(part_name(row["name"])),
        _size(row),
        f"{row['size_mm'][2] / layer_mm:.0f}",
        *_sums([row], f"{100.0 * row['infill_ratio']:.0f} %", priced=priced),
        ", ".join(map(with_word_breaks, row["files"])),
    ]


def _shims_row(rows: Sequence[dict[str, Any]], *, priced: bool) -> list[Message | str]:
    """Return all shims as one row: they are alike but for their thickness."""
    thick = say("export.card-thick", mm=tuple(f"{row['size_mm'][2]:.1f}" for row in rows))
    files = ", ".join(with_word_breaks(file) for row in rows for file in row["files"])
    infill = f"{100.0 * rows[0]['infill_ratio']:.0f} %"
    return [say("export.card-shims"), thick, "", *_sums(rows, infill, priced=priced), files]


def _sums(rows: Sequence[dict[str, Any]], infill: str, *, priced: bool) -> list[str]:
    """Return grams solid and lean, infill, likely time and price of parts."""
    solid, lean = (sum(row[key] for row in rows) for key in ("print_g", "lean_print_g"))
    times = [[row[SLICED]] * 2 if SLICED in row else row["likely_print_min"] for row in rows]
    low, high = (sum(time[end] for time in times) for end in (0, 1))
    money = [f"{sum(row['print_price'] for row in rows):.2f}"] if priced else []
    return [f"{solid:.0f}", f"{lean:.0f}", infill, duration(low, high), *money]


def duration(low_min: float, high_min: float) -> str:
    """Return a range of times, or one time, in hours where it is long.

    Examples
    --------
    >>> duration(45.2, 75.3), duration(119.8, 200.0), duration(12.4, 12.4)
    ('45-75 min', '2.0-3.3 h', '12 min')
    """
    is_short = high_min < LONG_MIN
    ends = [f"{end:.0f}" if is_short else f"{end / 60.0:.1f}" for end in (low_min, high_min)]
    return f"{'-'.join(dict.fromkeys(ends))} {'min' if is_short else 'h'}"


MOVES: Final = {
    Kind.PRESS: (say("export.card-press-moves"),),
    Kind.BLOCK: (
        say("export.card-block-dust"),
        say("export.card-block-turn"),
        say("export.card-block-wash"),
    ),
    Kind.CAST: (
        say("export.card-cast-tape"),
        say("export.card-cast-coat"),
        say("export.card-cast-fill"),
        say("export.card-cast-level"),
        say("export.card-cast-cure"),
        say("export.card-cast-release"),
    ),
}
"""What is done with each kind of mould, one after the other."""


def card_figures(build: Build, recipe: Recipe | None) -> dict[str, Any]:
    """Return everything that a card says, as plain values of text, messages and lists.

    A recipe's ingredients tell the allergens, where one is known.
    """
    report, outline = build.report(), build.pastry.outline
    bore_mm = min(outline.width_mm, outline.depth_mm)
    rounding = build.portion.rounding(build.design.mould.kind, outline.area_mm2)
    beside = () if rounding is None else (rounding,)
    piece = piece_figures(build.design, build.portion, recipe, bore_mm, beside=beside)
    names = [part_name(part.name) for part in build.mould.assembled]
    print_g = grams(sum(map(_filled_g, report["parts"])))
    parts = tuple(map(breaking, names))
    order = say("export.card-order", parts=parts) if len(names) > 1 else ""
    return piece | {
        "failed": [
            breaking(each.titled) for each in build.findings if each.verdict is Verdict.FAIL
        ],
        "inlays": tuple(map(breaking, build.inlay_sentences)),
        "shapes": [*piece["shapes"], *_pressed(build), *_in_the_oven(build, recipe)],
        "others": [with_word_breaks(one.stamp_name) for one in build.further],
        "stop": build.stop_sentences,
        "state": say("export.card-section", state=state_of(build)),
        "parts": parts_table(report["parts"], build.design.printer.layer_height_mm),
        "order": order,
        "print": say("export.card-print", grams=print_g)
        if build.design.printer.service is None
        else say("export.card-have-printed", grams=print_g),
        "settings": list(_settings(build)),
        "silicone": _silicone(report["mould"]),
        "moves": list(MOVES[build.design.mould.kind]),
        "use": (order, *_use(build)),
        "material_caution": word(build.design.printer.plastic.caution),
        "cautions": [word(each) if isinstance(each, str) else each for each in build.cautions],
        "sources": [*piece["sources"], *map(list, _sources(build))],
        "findings": _findings(build),
    }


EATEN: Final = {
    "width": say("export.card-eaten-width"),
    "height": say("export.card-eaten-height"),
    "relief": say("export.card-eaten-relief"),
}
"""Sizes of a baked piece, as a dough's ratios tell them."""


def _pressed(build: Build) -> Iterator[list[Message | str]]:
    """Yield the sizes of the pressed piece."""
    made = build.pastry
    if made.carved is None:
        yield [say("export.card-height"), f"{made.height_mm:.1f} mm"]
    else:
        yield [say("export.card-face-height"), f"{made.height_mm:.1f} mm"]
        yield [say("export.card-highest"), f"{made.highest_mm:.1f} mm"]
    for one in build.further:
        yield [
            say("export.card-under", stamp=with_word_breaks(one.stamp_name)),
            f"{one.pastry.height_mm:.1f} mm",
        ]
        if one.pastry.carved is not None:
            yield [say("export.card-highest"), f"{one.pastry.highest_mm:.1f} mm"]
    if isinstance(build.mould.layout, PressLayout):
        yield [say("export.card-stop"), f"{build.mould.layout.stop_height_mm:.1f} mm"]
    yield [say("export.card-width"), f"{format_number(build.pastry.outline.width_mm)} mm"]
    if build.interior.is_filled:
        yield [say("export.card-crust"), f"{build.interior.crust_mm:.1f} mm"]
    yield from eaten_sizes(build)


def eaten_sizes(build: Build) -> Iterator[list[Message | str]]:
    """Yield the sizes of the baked piece, as far as its dough was measured."""
    eaten = build.design.dough.as_eaten(
        width_mm=build.pastry.outline.width_mm,
        height_mm=build.pastry.height_mm,
        relief_mm=build.design.relief.depth_mm if build.design.relief.layers else None,
    )
    for name, (size_mm, sd_mm) in eaten.items():
        yield [EATEN[name], f"{size_mm:.1f} ± {sd_mm:.1f} mm"]


def _in_the_oven(build: Build, recipe: Recipe | None) -> Iterator[list[Message | str]]:
    """Yield when the middle of a piece that is baked is hot."""
    design, made = build.design, build.pastry
    if not is_baked(design):
        return
    shape = CoreShape.of(
        area_mm2=made.outline.area_mm2,
        height_mm=made.height_mm,
        is_square=design.pastry.outline == "square",
    )
    paste = heat_properties(inside_composition(design.portion, recipe))
    with suppress(SpecError):  # what an oven never heats is for the verb to refuse
        found = core_time(shape, paste, design.bake_day)
        yield [say("export.card-oven", oven_c=found.oven_c, core_c=CORE_C), str(found)]


def _settings(build: Build) -> Iterator[list[Message | str]]:
    printer, layout = build.design.printer, build.mould.layout
    yield [say("export.card-material"), printer.material]
    if printer.service is None:
        yield from _own_printer(printer, [part.name for part in build.mould.parts])
    else:
        yield [say("export.order-process"), PROCESSES[printer.process or Process.FFF]]
    if isinstance(layout, PressLayout):
        gap = format_number(layout.clearance_mm)
        said = say("export.card-each-side", mm=gap, error=_error(printer))
        yield [say("export.card-clearance"), said]
        yield from _caliper_sizes(build)
    yield [say("export.card-scale-in-slicer"), printer.scaling]
    mould = build.design.mould
    if isinstance(mould, CastTable):
        shrink = say("export.card-silicone-in-master", shrink=mould.silicone_shrink)
        yield [say("export.card-silicone-shrinks"), shrink]
    if printer.service is None:
        yield [say("export.card-least-bed"), _bed(build)]


def _own_printer(printer: PrinterTable, names: Sequence[str]) -> Iterator[list[Message | str]]:
    """Yield what to set in a slicer."""
    yield [
        say("export.card-nozzle"),
        f"{format_number(printer.nozzle_mm)} mm, {format_number(printer.line_width_mm)} mm",
    ]
    yield [say("export.card-layer-height"), f"{format_number(printer.layer_height_mm)} mm"]
    yield [say("export.card-orientation"), say("export.card-as-in-file")]
    yield [say("export.card-supports"), say("export.card-none")]
    yield from _infill(names)


def _caliper_sizes(build: Build) -> Iterator[list[Message | str]]:
    """Yield what to measure on the prints before they are used, with how far it may be off."""
    found = set_file(build)
    if found is None:
        return
    said = say(
        "export.card-caliper-sizes",
        wide_mm=found.size("bore_mm").within_mm,
        bore_mm=found.size("bore_mm").mm,
        stamp_mm=found.size("stamp_mm").mm,
        high_mm=found.size("sleeve_mm").within_mm,
        sleeve_mm=found.size("sleeve_mm").mm,
        thickness_mm=found.size("thickness_mm").mm,
        stop_mm=found.size("stop_mm").mm,
        plunger_mm=found.size("plunger_mm").mm,
    )
    yield [say("export.card-calipers"), said]


def _infill(names: Sequence[str]) -> Iterator[list[Message | str]]:
    """Yield how parts are filled, and why."""
    kinds = dict.fromkeys(name.partition("-")[0] for name in names)
    solid = tuple(word(name) for name in kinds if infill_of(name) is SOLID)
    lean = tuple(word(name) for name in kinds if infill_of(name) is LEAN)
    if solid:
        yield [say("export.card-infill-of", percent=100.0), say("export.card-solid", parts=solid)]
    if lean:
        yield [
            say("export.card-infill-of", percent=100.0 * LEAN.density),
            say(
                "export.card-lean",
                parts=lean,
                perimeters=LEAN.perimeters,
                layers=LEAN.top_layers,
            ),
        ]


def _error(printer: PrinterTable) -> Message:
    """Return for which printing error the gaps are made."""
    if printer.service is not None and printer.print_error_mm is None:
        return say("export.card-ordered-error", mm=format_number(printer.service.error_mm))
    if printer.print_error_mm is None:
        return say("export.card-unmeasured-printer")
    return say("export.card-printing-error", mm=format_number(printer.print_error_mm))


def _silicone(mould: Mapping[str, Any]) -> str:
    """Return what to mix for a casting master; nothing for other moulds."""
    if "silicone_ml" not in mould:
        return ""
    return f"{mould['silicone_ml']:.0f} mL, {mould['silicone_g']:.0f} g"


def _use(build: Build) -> tuple[Message, ...]:
    """Return what is done with the mould, and which stamps can be swapped."""
    moves = MOVES[build.design.mould.kind]
    if not build.further:
        return moves
    others = tuple(with_word_breaks(one.stamp_name) for one in build.further)
    return (*moves, say("export.card-swap", stamps=others))


def _bed(build: Build) -> str:
    """Return the least bed that takes each part by itself."""
    printed = {name: m for name, m in build.meshes.items() if name.partition("-")[0] != PASTRY}
    largest = np.max([mesh.size_mm for mesh in printed.values()], axis=0)
    # Up to the next millimetre, or the largest part would not fit; float32 adds less than 0.001.
    return f" {TIMES} ".join(f"{ceil(length - 0.001)}" for length in largest) + " mm"


def _sources(build: Build) -> Iterator[tuple[Message | str, ...]]:
    """Yield what follows from the piece's figures, and the plastic."""
    yield say("export.card-of-height"), f"{build.pastry.height_mm:.2f} mm", COMPUTED
    if build.interior.is_filled:
        yield say("export.card-of-crust"), f"{build.interior.crust_mm:.2f} mm", COMPUTED
    material = build.design.printer.plastic
    solid = f"{format_number(material.density_g_per_ml)} g/mL"
    yield build.design.printer.material, solid, source_of(material.source)


def _findings(build: Build) -> dict[str, Any]:
    others = [found for found in build.findings if found.verdict is not Verdict.GOOD]
    good = len(build.findings) - len(others)
    return {
        "said": say("export.card-some-good", good=good) if others else say("export.card-all-good"),
        "others": [
            [
                word(found.verdict.value),
                breaking(found.titled),
                f"{found.measured:.4g}" if isinstance(found.measured, float) else found.measured,
                found.limit
                if found.remedy is None
                else say("export.card-limit", limit=found.limit, remedy=found.remedy),
            ]
            for found in others
        ],
    }


PAPERS: Final = {Paper.A4: "a4", Paper.LETTER: "us-letter"}
"""Names of the papers in the template's language."""

PAGE_PPI: Final = 150.0
"""Resolution of the pictures: small print reads well on a screen of any size [px/inch]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Card:
    """A bench card; the same values are the same bytes."""

    figures: Mapping[str, Any]
    """What `card_figures` returns, and what the relief's caption says; or the figures of a card
    for a mould that exists."""
    pictures: Mapping[str, bytes]
    """PNG or SVG files by name: `pastry.png`, `parts.png`, `print.png`, `relief.png`,
    `section.svg`; `other-0.png` and so on, one for each of the figures' `others`. Of a mould
    that exists its owner's photo as `pastry.png`, or none."""
    paper: Paper
    fonts: Fonts
    template: str = "card.typ"
    """In the folder of data."""

    def in_words(self, language: str) -> dict[str, Any]:
        """Return the figures in a language; names stay as they are."""
        figures = dict(self.figures)
        names = {key: figures[key] for key in ("title", "name")}
        asked = figures["language"]
        if language != asked:
            figures["program"] = (f"{figures['program']}.", say("export.card-no-letters"))
        return {**in_words(figures, language), **names, "language": language}

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

    def told(self, name: str) -> Any:  # noqa: ANN401 (whatever the template tells)
        """Return the value that the template gives under a name; raise as `pdf` does."""
        with self._compiler() as compiler:
            try:
                return json.loads(compiler.query(f"<{name}>", field="value", one=True))
            except typst.TypstError as error:
                raise _refusal(error) from error

    @contextmanager
    def _compiler(self) -> Iterator[typst.Compiler]:
        figures = self.in_words(self.fonts.language)
        # The title goes into the file's metadata, where no font limits it.
        as_they_are = {"title": self.figures["title"], "paper": PAPERS[self.paper]}
        shown = self.fonts.all_with_code_points(figures) | as_they_are
        with tempfile.TemporaryDirectory(prefix="moulddesign-") as folder:
            root = Path(folder)
            for name, content in self.pictures.items():
                (root / name).write_bytes(content)
            template = files("moulddesign") / "data" / self.template
            (root / "card.typ").write_bytes(template.read_bytes())
            # The design's fonts alone: others in their folders would take their place.
            fonts = root / "fonts"
            fonts.mkdir()
            for number, font in enumerate(self.fonts.files):
                shutil.copyfile(font, fonts / f"{number}{font.suffix}")
            yield typst.Compiler(
                str(root / "card.typ"),
                root=folder,
                font_paths=[str(regular_font().parent), str(fonts)],
                ignore_system_fonts=True,
                sys_inputs={"card": json.dumps(shown, ensure_ascii=False)},
            )


def _compiled(compiler: typst.Compiler, **form: Any) -> Any:  # noqa: ANN401 (bytes, or a list)
    try:
        return compiler.compile(**form)
    except typst.TypstError as error:
        raise _refusal(error) from error


def _refusal(error: Exception) -> KernelError:
    return KernelError(
        say("export.the-bench-card"), say("export.typesetter-refuses", reason=str(error))
    )
