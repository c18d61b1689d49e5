"""The printer, and the plastic in it."""

from collections.abc import Mapping
from typing import Any, Final

from pydantic import (
    SerializerFunctionWrapHandler,
    ValidationInfo,
    field_validator,
    model_serializer,
    model_validator,
)

from moulddesign.design.library import Library, library
from moulddesign.design.machine import Machine
from moulddesign.design.material import Material
from moulddesign.design.quantity import CHOICE, PRACTICE, Table, given

MACHINE: Final = "common-220"
"""Printer that is taken where none is named."""


class PrinterTable(Table):
    """A printer by name, whatever differs from it, and the plastic in it."""

    library: str | None = given(
        None, "TOML file with one's own [printers.NAME] and [materials.NAME]", min_length=1
    )
    machine: str = given(MACHINE, "Printer by name; what stands here beside it comes before it")
    material: str = given("PETG", "Plastic that the parts are printed from")
    nozzle_mm: float = given(0.4, "Nozzle diameter", unit="mm", source=PRACTICE, ge=0.1, le=2)
    line_width_mm: float = given(
        0.42, "Width of one printed line", unit="mm", source=PRACTICE, ge=0.1, le=3
    )
    layer_height_mm: float = given(0.2, "Layer height", unit="mm", source=PRACTICE, ge=0.02, le=1)
    bed_mm: tuple[float, float, float] = given(
        (220.0, 220.0, 250.0), "Build volume: x, y, z", unit="mm", source=PRACTICE
    )
    flow_mm3_per_s: float = given(
        8.0, "Plastic that the nozzle can lay, for the lower bound of the print time",
        unit="mm3/s", source=PRACTICE, ge=0.1, le=200,
    )  # fmt: skip
    shrink: float = given(
        0.0, "Share by which your prints come out smaller than drawn; the files are larger by as "
        "much. 0 leaves it to the slicer", source=CHOICE, ge=0, le=0.05,
    )  # fmt: skip
    filament_mm: float = given(
        1.75, "Diameter of the filament, for its length", unit="mm", source=PRACTICE, ge=1, le=4
    )
    price_per_kg: float | None = given(
        None, "Price of a kilogram of filament, in any currency", ge=0, le=100_000
    )

    @property
    def plastic(self) -> Material:
        """The figures of its plastic."""
        return library(self.library).materials[self.material]

    def report(self) -> dict[str, Any]:
        """Return the printer in full, its plastic's own shrinkage beside what the files allow."""
        return {
            "machine": self.machine,
            "nozzle_mm": self.nozzle_mm,
            "line_width_mm": self.line_width_mm,
            "layer_height_mm": self.layer_height_mm,
            "bed_mm": list(self.bed_mm),
            "material": self.material,
            "shrink_in_files": self.shrink,
            "shrink_of_material": self.plastic.shrink,
        }

    @model_validator(mode="before")
    @classmethod
    def _machine_first(cls, values: Any) -> Any:  # noqa: ANN401 (whatever stands in the file)
        """Fill what is not given from the named machine."""
        if not isinstance(values, Mapping):
            return values
        known = _library(values.get("library")).machines
        machine = known.get(values.get("machine", MACHINE))
        return values if machine is None else _figures(machine) | dict(values)

    @field_validator("bed_mm")
    @classmethod
    def _has_room(cls, bed_mm: tuple[float, float, float]) -> tuple[float, float, float]:
        if min(bed_mm) <= 0.0:
            message = "must be three lengths above 0 mm: x, y, z"
            raise ValueError(message)
        return bed_mm

    @field_validator("machine")
    @classmethod
    def _known_machine(cls, machine: str, info: ValidationInfo) -> str:
        return _known(machine, _library(info.data.get("library")).machines)

    @field_validator("material")
    @classmethod
    def _known_material(cls, material: str, info: ValidationInfo) -> str:
        return _known(material, _library(info.data.get("library")).materials)

    @model_serializer(mode="wrap")
    def _beside_its_machine(self, plain: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Leave out what the machine says: another machine named later then counts."""
        values: dict[str, Any] = plain(self)
        said = _figures(library(self.library).machines[self.machine])
        return {key: v for key, v in values.items() if said.get(key, self) != getattr(self, key)}


def _figures(machine: Machine) -> dict[str, Any]:
    return {
        "nozzle_mm": machine.nozzle_mm,
        "line_width_mm": machine.line_width_mm,
        "layer_height_mm": machine.layer_height_mm,
        "bed_mm": machine.bed_mm,
        "flow_mm3_per_s": machine.flow_mm3_per_s,
    }


def _library(path: object) -> Library:
    return library(path if isinstance(path, str) and path else None)


def _known(name: str, names: Mapping[str, object]) -> str:
    if name not in names:
        message = f"must be one of {', '.join(names)}"
        raise ValueError(message)
    return name
