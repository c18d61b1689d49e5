"""The order sheet for a printing service: one page that goes with the files of the parts."""

from collections.abc import Iterator
from typing import Final

from moulddesign.building import PASTRY, Build, set_file
from moulddesign.core import Message, ml_from_mm3, part_name, say, word
from moulddesign.design import CastTable, Paper
from moulddesign.design.services import Process
from moulddesign.export.card import PROCESSES, Card
from moulddesign.export.card_piece import sheet_head
from moulddesign.export.entities import TIMES, format_number
from moulddesign.export.fonts import breaking, fonts_of, with_word_breaks
from moulddesign.mould import Part
from moulddesign.mould.press import SHIM

ORDER_PDF: Final = "order.pdf"

FINISH: Final = {
    Process.FFF: (say("export.order-fff-layers"), say("export.order-fff-solid")),
    Process.RESIN: (say("export.order-resin-cured"), say("export.order-resin-supports")),
    Process.POWDER: (say("export.order-powder-porous"), say("export.order-powder-loose")),
}
"""What each process has to be told."""

FOOD: Final = {
    "sleeve": say("export.order-food-sleeve"),
    "stamp": say("export.order-food-stamp"),
    "block": say("export.order-food-block"),
    "master": say("export.order-food-silicone"),
}
"""Which surfaces touch food, by the kind of part; the others touch none."""

SIZES: Final = {
    "bore_mm": say("export.order-bore"),
    "sleeve_mm": say("export.order-sleeve"),
    "stamp_mm": say("export.order-stamp"),
    "thickness_mm": say("export.order-thickness"),
    "stop_mm": say("export.order-stop"),
    "plunger_mm": say("export.order-plunger"),
}
"""What is measured of a press, by the key of its reading."""


def order_sheet(build: Build, picture: bytes, paper: Paper) -> Card:
    """Return the order sheet of a build whose printer is a service.

    Parameters
    ----------
    picture : bytes
        PNG of the parts as they are printed.
    """
    design, printer = build.design, build.design.printer
    service, process = printer.service, printer.process or Process.FFF
    assert service is not None  # noqa: S101 (the file belongs to a service alone)
    within = format_number(2.0 * printer.proven_error_mm)
    return Card(
        figures={
            **sheet_head(design, design.name),
            "what": say("export.order-what"),
            "words": {
                "parts": say("export.order-parts"),
                "measured": say("export.order-measured"),
                "finish": say("export.order-finish"),
                "cautions": say("export.card-cautions"),
                "parts_shown": say("export.card-parts-shown"),
            },
            "facts": [
                [say("export.order-units"), say("export.order-millimetres")],
                [say("export.order-scale"), say("export.order-do-not-scale")],
                [say("export.order-process"), PROCESSES[process]],
                [
                    say("export.card-material"),
                    say("export.order-undyed", material=printer.material),
                ],
                [say("export.order-tolerance"), say("export.order-within", mm=within)],
            ],
            "part_heads": [
                say("export.card-files"),
                say("export.order-pieces"),
                say("export.card-file-size"),
                "mL",
                say("export.order-touches-food"),
            ],
            "parts": [_part_row(build, part, service.least_wall_mm) for part in build.mould.parts],
            "size_heads": [
                say("export.card-part"),
                say("export.order-size"),
                "mm",
                "\u00b1 mm",
                say("export.order-read"),
            ],
            "measured_says": say("export.order-measured-says"),
            "sizes": [
                [breaking(part_name(part)), what, f"{mm:.2f}", format_number(within_mm), ""]
                for part, what, mm, within_mm in measured_sizes(build)
            ],
            "finish": [say("export.order-sliding"), *FINISH[process]],
            "cautions": [
                say("export.order-food-contact"),
                *map(_in_word, printer.cautions[:2]),
                _in_word(printer.plastic.caution),
            ],
        },
        pictures={"print.png": picture},
        paper=paper,
        fonts=fonts_of(design),
        template="order.typ",
    )


def _in_word(caution: Message | str) -> Message | str:
    return word(caution) if isinstance(caution, str) else caution


def _part_row(build: Build, part: Part, least_wall_mm: float) -> list[Message | str]:
    mesh = build.meshes[part.name]
    sheet = part.name.startswith(SHIM) and float(mesh.size_mm[2]) < least_wall_mm
    food = FOOD.get(part.name.partition("-")[0], say("export.order-food-none"))
    return [
        with_word_breaks(f"{part.name}.stl"),
        "0" if sheet else "1",
        f" {TIMES} ".join(f"{length:.1f}" for length in mesh.size_mm),
        f"{ml_from_mm3(mesh.volume_mm3):.1f}",
        say("export.order-cut-sheet") if sheet else food,
    ]


def measured_sizes(build: Build) -> Iterator[tuple[str, Message, float, float]]:
    """Yield what is measured on arrival: part, what of it, as designed and within what [mm].

    Of a press these are the sizes that `measured` takes.
    """
    press = set_file(build)
    if press is not None:
        for size in press.sizes:
            yield size.part, SIZES[size.key], size.mm, size.within_mm
        return
    within_mm = 2.0 * build.design.printer.proven_error_mm
    table = build.design.mould
    grown = 1.0 - table.silicone_shrink if isinstance(table, CastTable) else 1.0
    piece = build.meshes[PASTRY].size_mm / grown
    for part in build.mould.parts:
        length, width, height = build.meshes[part.name].size_mm.tolist()
        yield part.name, say("export.order-along-x"), length, within_mm
        yield part.name, say("export.order-along-y"), width, within_mm
        yield part.name, say("export.order-over-all"), height, within_mm
        if part.name.partition("-")[0] == "block":
            yield part.name, say("export.order-mouth"), float(piece[0]), within_mm
            yield part.name, say("export.order-deep"), float(piece[2]), within_mm
        elif part.name == "master":
            yield part.name, say("export.order-on-master"), float(piece[0]), within_mm
