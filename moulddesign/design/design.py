"""The Design as a whole: read from TOML, overridden by options, written back."""

from collections.abc import Mapping
from os import PathLike
from pathlib import Path
from typing import Any, Final, Self

import tomli_w
from pydantic import ValidationInfo, field_validator

from moulddesign.core import SpecError, read_toml
from moulddesign.design.assets import found_beside
from moulddesign.design.mould_tables import Kind, MouldTable
from moulddesign.design.piece_tables import (
    SIZES,
    BatchTable,
    LabelTable,
    PastryTable,
    PortionTable,
    ScaleTable,
)
from moulddesign.design.printers import PrinterTable
from moulddesign.design.relief_tables import MOST_STAMPS, FurtherStamp, Layer, ReliefTable
from moulddesign.design.schema import Table, given

RESERVED: Final = {"con", "prn", "aux", "nul"} | {
    f"{device}{number}" for device in ("com", "lpt") for number in "123456789"
}
"""File names that one operating system keeps for its devices."""


class Design(Table):
    """What is asked for. Frozen, and valid where it exists at all.

    Build it with `Design.read`, `Design.of` or `Design()`; the first two raise `SpecError`
    with one sentence where a value cannot be used.
    """

    name: str = given("lantern-night", "Name of the design and of its folder", max_length=80)
    portion: PortionTable = PortionTable()
    pastry: PastryTable = PastryTable()
    relief: ReliefTable = ReliefTable()
    mould: MouldTable = MouldTable()
    further_stamps: tuple[FurtherStamp, ...] = given(
        (), "Stamps with other reliefs for the same sleeve and plunger of a press",
        max_length=MOST_STAMPS,
    )  # fmt: skip
    printer: PrinterTable = PrinterTable()
    scale: ScaleTable = ScaleTable()
    label: LabelTable = LabelTable()
    batch: BatchTable = BatchTable()

    @field_validator("name")
    @classmethod
    def _can_name_a_folder(cls, name: str) -> str:
        bad = sorted({c for c in name if c in '/\\:*?"<>|' or not c.isprintable()})
        if bad:
            message = f"must not hold {' '.join(map(repr, bad))}, for it names a folder"
            raise ValueError(message)
        if not name.strip(". ") or name != name.strip() or name.endswith("."):
            message = "must not be empty, nor begin or end with a space or end with a dot"
            raise ValueError(message)
        if name.partition(".")[0].lower() in RESERVED:
            message = "is a name that some systems keep for a device; add a word to it"
            raise ValueError(message)
        return name

    @field_validator("further_stamps")
    @classmethod
    def _go_on_one_plunger(
        cls, stamps: tuple[FurtherStamp, ...], info: ValidationInfo
    ) -> tuple[FurtherStamp, ...]:
        mould = info.data.get("mould")
        if stamps and mould is not None and mould.kind is not Kind.PRESS:
            need = f"has no stamps to swap; leave out further_stamps, or take kind {Kind.PRESS}"
            raise SpecError("mould.kind", mould.kind.value, need)
        FurtherStamp.refuse_twins(stamps)
        return stamps

    @property
    def layers(self) -> tuple[Layer, ...]:
        """Every layer: the relief's, then those of the further stamps."""
        further = (layer for stamp in self.further_stamps for layer in stamp.layers)
        return (*self.relief.layers, *further)

    @classmethod
    def read(cls, path: str | PathLike[str]) -> Self:
        """Return the design in a TOML file; drawings that it names lie beside it.

        Raises
        ------
        FileError
            The file cannot be read or is not TOML.
        SpecError
            A key is unknown or a value cannot be used.
        """
        return cls.of(found_beside(read_toml(path), Path(path).parent))

    def with_values(self, values: Mapping[str, Any]) -> Self:
        """Return the design with some values replaced.

        Parameters
        ----------
        values : mapping of str to object
            Dotted name to value: ``{"portion.ratio": "4:6"}``. A size given here (width, height
            or height to width) takes the place of whichever size the design had.

        Raises
        ------
        SpecError
            A key is unknown or a value cannot be used.
        """
        tree = self.plain()
        if any(f"pastry.{size}" in values for size in SIZES):
            for size in SIZES:
                tree["pastry"].pop(size, None)
        for dotted, value in values.items():
            *tables, key = dotted.split(".")
            table = tree
            for part in tables:
                table = table[part]
            table[key] = value
        return type(self).of(tree)

    def plain(self) -> dict[str, Any]:
        """Return nested plain values, without the keys that are not given."""
        return self.model_dump(mode="json", exclude_none=True)

    def toml(self) -> str:
        """Return the design as the text of a TOML file that `read` takes back."""
        return tomli_w.dumps(self.plain())
