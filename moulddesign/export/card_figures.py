"""What stands on the bench card, as plain values that its template lays out."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from pydantic import BaseModel

from moulddesign import __version__
from moulddesign.building import PASTRY, Build
from moulddesign.design import Kind
from moulddesign.design.portion import Centre
from moulddesign.export.allergens import allergens
from moulddesign.export.assembly import state_of
from moulddesign.export.breaking import breakable
from moulddesign.export.dimension import number
from moulddesign.export.ink import TIMES
from moulddesign.export.parts_table import parts_table
from moulddesign.finding import Verdict
from moulddesign.portion import roll_for
from moulddesign.portion.recipe import Recipe

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
    return (
        f"To sell as {number(target.label_g)} g: scale at least {number(target.scaled_g)} g raw "
        f"a piece (mean rule and deficiency of {number(target.deficiency_g)} g; guidance only, "
        "local law decides)."
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
    yield ["Crust all round", f"{made.crust_mm:.1f} mm"]


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
    if mould.kind is Kind.PRESS:
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
        ("crust thickness", f"{made.crust_mm:.2f} mm"),
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
            [found.verdict.value, breakable(found.name), _measured(found.measured), found.limit]
            for found in made.findings
            if found.verdict is not Verdict.GOOD
        ],
    }


def _measured(value: float | str) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _grams(mass_g: float) -> str:
    """Return grams as a scale shows them, at most one decimal."""
    return f"{mass_g:.1f}".removesuffix(".0")


def _exact(mass_g: float) -> str:
    return f"{mass_g:.2f} g"
