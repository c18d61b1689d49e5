"""The Design as a whole: read from TOML, overridden by options, written back."""

import tomllib
from collections.abc import Mapping
from os import PathLike
from pathlib import Path
from typing import Any, Final, Self

import tomli_w
from pydantic import ValidationInfo, field_validator

from moulddesign.core import FileError, SpecError
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

MOST_BYTES: Final = 1_000_000
TOO_DEEP: Final = "nests its lists and tables too deep"
MOST_DEEP: Final = 50
"""Most lists and tables inside one another in a file; ours have six at the most."""
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


def read_toml(path: str | PathLike[str]) -> dict[str, Any]:
    """Return the tables of a TOML file.

    Raises
    ------
    FileError
        The file cannot be read, is larger than 1 MB or is not TOML in UTF-8.
    """
    try:
        with Path(path).open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileError(str(path), f"cannot be read ({error.strerror})") from error
    if len(raw) > MOST_BYTES:
        raise FileError(str(path), f"is larger than {MOST_BYTES} bytes; a design is a short text")
    try:
        tree = tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise FileError(str(path), "is not text in UTF-8; save it as UTF-8") from error
    except RecursionError as error:
        raise FileError(str(path), TOO_DEEP) from error
    except ValueError as error:  # TOMLDecodeError, and what Python says of endless numbers
        reason = str(error).partition(";")[0]
        raise FileError(str(path), f"is not TOML: {reason}") from error
    if _is_deep(tree):  # dots nest tables without nesting the parser
        raise FileError(str(path), TOO_DEEP)
    return tree


def _is_deep(tree: dict[str, Any]) -> bool:
    """Return whether lists and tables lie deeper in one another than any file of ours."""
    level: list[Any] = [tree]
    for _ in range(MOST_DEEP):
        level = [
            inner
            for outer in level
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
    return bool(level)
