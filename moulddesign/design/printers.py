"""Printers and plastics by name, those of the package and one's own.

The design's table of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from math import floor, isfinite
from types import MappingProxyType
from typing import Any, Final, Self, TypeVar

from pydantic import (
    SerializerFunctionWrapHandler,
    ValidationInfo,
    field_validator,
    model_serializer,
    model_validator,
)

from moulddesign.core import (
    CAUTIONS,
    ORDERED_CAUTIONS,
    FileError,
    Message,
    SpecError,
    bundled_toml,
    decode_text,
    limits,
    parse_toml,
    read_bytes,
    say,
)
from moulddesign.design.schema import CHOICE, TRADE, FileKind, RefusedError, Table, given
from moulddesign.design.services import (
    FINE_STEP_MM,
    SERVICE,
    Process,
    ServiceProcess,
    service_processes,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A printer.

    Parameters
    ----------
    nozzle_mm, line_width_mm, layer_height_mm : float
        Nozzle, line and layer that it is usually run with [mm].
    bed_mm : tuple of float
        Build volume: x, y, z [mm].
    flow_mm3_per_s : float
        Plastic that its nozzle can lay [mm^3/s].
    source : str
        Where the figures come from, with their status.
    """

    nozzle_mm: float
    line_width_mm: float
    layer_height_mm: float
    bed_mm: tuple[float, float, float]
    flow_mm3_per_s: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A plastic.

    Parameters
    ----------
    density_g_per_ml : float
        Density of the solid [g/mL].
    softening_c : float
        Temperature at which a part begins to bend [deg C].
    tensile_along_mpa, tensile_across_mpa : float
        Tensile strength along and across the layers [MPa].
    modulus_gpa : float
        Young's modulus [GPa].
    shrink : float
        Share by which a part comes out smaller than drawn.
    source : str
        Where the figures come from, with their status.
    caution : str
        What belongs to this plastic in a kitchen.
    """

    density_g_per_ml: float
    softening_c: float
    tensile_along_mpa: float
    tensile_across_mpa: float
    modulus_gpa: float
    shrink: float
    source: str
    caution: str


@cache
def materials() -> MappingProxyType[str, Material]:
    """Return the plastics that come with the package, by name."""
    tables = bundled_toml("data", "materials.toml")
    return MappingProxyType({name: Material(**figures) for name, figures in tables.items()})


T = TypeVar("T", Machine, Material)

OWN_SOURCE: Final = "your own file"
SIDES: Final = 3
MAY_BE_ZERO: Final = "shrink"
"""The one figure that may be 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Library:
    """What a design can name.

    Parameters
    ----------
    machines : mapping of str to Machine
        Printers.
    materials : mapping of str to Material
        Plastics.
    """

    machines: MappingProxyType[str, Machine]
    materials: MappingProxyType[str, Material]


def library(path: str | None) -> Library:
    """Return the package's printers and plastics, and those of a file, which come first.

    Parameters
    ----------
    path : str or None
        TOML file with tables [printers.NAME] and [materials.NAME]; source and caution may be
        left out there.

    Raises
    ------
    FileError
        The file cannot be read, is not TOML, or a table of it lacks a figure.
    """
    if path is None:
        return _package()
    content = read_bytes(path, most_bytes=limits.MOST_TEXT_BYTES, advice=say("core.text-is-short"))
    return _own(path, decode_text(content, path))


@cache
def _package() -> Library:
    tables = bundled_toml("data", "printers.toml")
    machines = {
        name: _made(Machine, table, "printers.toml", name=name) for name, table in tables.items()
    }
    return Library(machines=MappingProxyType(machines), materials=materials())


@cache
def _own(path: str, text: str) -> Library:
    tables = parse_toml(text, path)
    strange = sorted(tables.keys() - {"printers", "materials"})
    if strange:
        raise FileError(path, say("design.strange-table", table=strange[0]))
    package = _package()
    own = {"source": OWN_SOURCE, "caution": ""}
    machines = {
        name: _made(Machine, {"source": OWN_SOURCE} | table, path, name=name)
        for name, table in _tables(tables, "printers", path)
    }
    plastics = {
        name: _made(Material, own | table, path, name=name)
        for name, table in _tables(tables, "materials", path)
    }
    return Library(
        machines=MappingProxyType(machines | _others(package.machines, machines)),
        materials=MappingProxyType(plastics | _others(package.materials, plastics)),
    )


def _others(all_of: Mapping[str, T], taken: Mapping[str, T]) -> dict[str, T]:
    return {name: value for name, value in all_of.items() if name not in taken}


def _tables(tables: dict[str, Any], kind: str, path: str) -> list[tuple[str, dict[str, Any]]]:
    found = tables.get(kind, {})
    if not isinstance(found, dict) or not all(isinstance(t, dict) for t in found.values()):
        raise FileError(path, say("design.tables-by-name", kind=kind))
    return list(found.items())


def _made(kind: type[T], table: dict[str, Any], path: str, *, name: str) -> T:
    wanted = {field.name for field in fields(kind)}
    missing, strange = sorted(wanted - table.keys()), sorted(table.keys() - wanted)
    if missing or strange:
        keys = tuple(sorted(wanted))
        if missing:
            raise FileError(path, say("design.lacks-figure", key=missing[0], name=name, keys=keys))
        raise FileError(path, say("design.strange-figure", key=strange[0], name=name, keys=keys))
    return kind(**{key: _figure(key, value, f"{path}: {name}") for key, value in table.items()})


def _figure(key: str, value: object, where: str) -> Any:  # noqa: ANN401 (per field)
    if key in {"source", "caution"}:
        return str(value)
    if key == "bed_mm":
        sides = [_number(side) for side in value] if isinstance(value, list) else []
        if len(sides) != SIDES or min(sides) <= 0.0:
            raise FileError(where, say("design.bed-in-file", key=key))
        return tuple(sides)
    number = _number(value)
    if number < 0.0 or (number == 0.0 and key != MAY_BE_ZERO):
        raise FileError(where, say("design.figure-in-file", key=key))
    return number


def _number(value: object) -> float:
    """Return a finite number; -1, which no figure may be, where it is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return -1.0
    return float(value) if isfinite(value) else -1.0


MACHINE: Final = "common-220"
"""Printer that is taken where none is named."""


UNMEASURED_ERROR_MM: Final = 0.2
"""Printing error of a printer that nobody measured; our choice [mm]."""

ERROR_MARGIN_MM: Final = 0.05
"""What is added to a measured printing error; our choice [mm]."""
ERROR_ROOM_MM: Final = 0.1
"""Gap that is left where both parts are printed too large by all of the error; our choice [mm]."""

GAUGE_GAPS_MM: Final = (0.4, 0.3, 0.2, 0.1)
"""Gap on each side of the key in the rings and slots of the clearance gauge, from number 1 on [mm].

0.3 mm is that of the joint for a printing error of 0.05 mm; the others have each wall moved by
-0.1, 0.1 and 0.2 mm. Number 1 shows what is taken for a printer that nobody measured.
"""


def gauge_error_mm(*, ring: int, slot: int) -> float:
    """Return the printing error that the clearance gauge shows [mm].

    Two printed walls face each other in a gap, and each may stand out by the error e. So 2 e of the
    nominal gap g are eaten, and what slides shows that e is at most g / 2. The looser of the two
    readings counts. Walls that are printed too thin slide too: those the gauge does not show, and
    the key rattles in every ring.

    Parameters
    ----------
    ring : int
        Number of the tightest ring that the key slides through by its own weight, 1 the widest.
    slot : int
        Number of the tightest slot that its foot slides into without force.

    Raises
    ------
    SpecError
        It is no number of a ring or slot, or 0 for none.

    Examples
    --------
    >>> gauge_error_mm(ring=2, slot=3)  # 0.3 mm of the ring and 0.2 mm of the slot: 0.3 / 2
    0.15
    """
    for name, number in (("ring", ring), ("slot", slot)):
        if number == 0:
            need = say("design.gauge-is-tight", error_mm=max(GAUGE_GAPS_MM) / 2.0)
            raise SpecError(name, number, need)
        if not 1 <= number <= len(GAUGE_GAPS_MM):
            raise SpecError(name, number, say("design.gauge-number", most=len(GAUGE_GAPS_MM)))
    return GAUGE_GAPS_MM[min(ring, slot) - 1] / 2.0


class PrinterTable(Table):
    """A printer by name, whatever differs from it, and the plastic in it."""

    library: str | None = given(
        None,
        "TOML file with one's own [printers.NAME] and [materials.NAME]",
        min_length=1,
        file=FileKind.LIBRARY,
    )
    machine: str = given(
        MACHINE, "Printer by name; what stands here beside it comes before it", main=True
    )
    process: Process | None = given(
        None,
        "How a printing service makes the parts: fff from melted filament, which counts where it "
        "is left out, resin cured by light, or powder fused; for the printer `service` alone",
        main=True,
    )
    material: str = given("PETG", "Plastic that the parts are printed from", main=True)
    nozzle_mm: float = given(
        0.4, "Nozzle diameter", unit="mm", source=TRADE, ge=0.1, le=2, main=True
    )
    line_width_mm: float = given(
        0.42, "Width of one printed line", unit="mm", source=TRADE, ge=0.1, le=3
    )
    layer_height_mm: float = given(0.2, "Layer height", unit="mm", source=TRADE, ge=0.02, le=1)
    bed_mm: tuple[float, float, float] = given(
        (220.0, 220.0, 250.0), "Build volume: x, y, z", unit="mm", source=TRADE
    )
    flow_mm3_per_s: float = given(
        8.0, "Plastic that the nozzle can lay, for the lower bound of the print time",
        unit="mm3/s", source=TRADE, ge=0.1, le=200,
    )  # fmt: skip
    print_error_mm: float | None = given(
        None,
        "How far a printed wall lies from its mesh at the most, as the gauge shows it; where it is "
        "left out, parts are made and proven for 0.2 mm",
        unit="mm", source=CHOICE, ge=0, le=0.5, main=True,
    )  # fmt: skip
    shrink: float = given(
        0.0, "Share by which your prints come out smaller than drawn: the files of printed parts "
        "are larger by as much; auto for the plastic's own figure, off or 0 for files in the sizes "
        "of the design", source=CHOICE, ge=0, le=0.05,
    )  # fmt: skip
    filament_mm: float = given(
        1.75, "Diameter of the filament, for its length", unit="mm", source=TRADE, ge=1, le=4
    )
    price_per_kg: float | None = given(
        None, "Price of a kilogram of filament, in any currency", ge=0, le=100_000
    )

    @property
    def proven_error_mm(self) -> float:
        """Printing error that parts are made and proven for: as measured and a little more [mm].

        Of a service the tolerance is a bound already, and nothing is added to it.
        """
        if self.service is not None and self.print_error_mm is None:
            return self.service.error_mm
        measured = UNMEASURED_ERROR_MM if self.print_error_mm is None else self.print_error_mm
        return measured + ERROR_MARGIN_MM

    @property
    def service(self) -> ServiceProcess | None:
        """What is known of a service's parts; None where one prints oneself."""
        return _service(self.machine, self.process)

    def whole_layers_mm(self, depth_mm: float) -> float:
        """Return the depth of the whole layers that a depth holds, one at the least [mm]."""
        layer_mm = self.layer_height_mm
        return max(round(floor(depth_mm / layer_mm + 1e-6) * layer_mm, 6), layer_mm)

    @property
    def height_step_mm(self) -> float:
        """Step in which parts are high: a layer, or next to nothing where a service lays it."""
        by_layers = self.service is None or self.process in {None, Process.FFF}
        return self.layer_height_mm if by_layers else FINE_STEP_MM

    @property
    def height_tolerance_mm(self) -> float:
        """How far a height may be off, either way: one layer, or a service's tolerance [mm]."""
        return max(self.layer_height_mm, 0.0 if self.service is None else self.service.tolerance_mm)

    @property
    def sliding_gap_mm(self) -> float:
        """Gap in which one printed part slides in another where none is given [mm]."""
        return 2.0 * self.proven_error_mm + ERROR_ROOM_MM

    @property
    def plastic(self) -> Material:
        """The figures of its plastic."""
        return library(self.library).materials[self.material]

    @property
    def slicer_percent(self) -> float:
        """Scale to type into the slicer so that prints have the sizes of the design [%]."""
        return 100.0 / self.printed_ratio

    @property
    def printed_ratio(self) -> float:
        """Length of a print by that in the design, where the slicer scales nothing.

        A shrinkage that is given is what the prints do; else it is the plastic's own figure. A
        service makes up for its own.
        """
        return 1.0 if self.shrink or self.service is not None else 1.0 - self.plastic.shrink

    @property
    def cautions(self) -> tuple[Message | str, ...]:
        """What can hurt someone: of all moulds, and of the plastic."""
        of_all = CAUTIONS if self.service is None else ORDERED_CAUTIONS
        return (*of_all, self.plastic.caution)

    @property
    def scaling(self) -> Message:
        """What the slicer has to scale."""
        if self.service is not None:
            return say("design.service-scales")
        if self.shrink:
            return say("design.scaled-already", larger=1.0 / (1.0 - self.shrink) - 1.0)
        return say(
            "design.scale-in-slicer",
            percent=self.slicer_percent,
            material=self.material,
            shrink=self.plastic.shrink,
        )

    def report(self) -> dict[str, Any]:
        """Return the printer in full, its plastic's own shrinkage beside what the files allow."""
        made = (
            {}
            if self.service is None
            else {
                "process": self.process or Process.FFF,
                "tolerance_mm": self.service.tolerance_mm,
                "tolerance_source": self.service.source,
            }
        )
        return made | {
            "machine": self.machine,
            "nozzle_mm": self.nozzle_mm,
            "line_width_mm": self.line_width_mm,
            "layer_height_mm": self.layer_height_mm,
            "bed_mm": list(self.bed_mm),
            "material": self.material,
            "shrink_in_files": self.shrink,
            "shrink_of_material": self.plastic.shrink,
            "slicer_percent": self.slicer_percent,
            "scaling": str(self.scaling),
        }

    @model_validator(mode="before")
    @classmethod
    def _machine_first(cls, values: Any) -> Any:  # noqa: ANN401 (whatever stands in the file)
        """Fill what is not given from the named machine."""
        if not isinstance(values, Mapping):
            return values
        known = _library(values.get("library")).machines
        machine = known.get(values.get("machine", MACHINE))
        filled = dict(values)
        if machine is not None:
            filled = _figures(machine, _process_figures(values)) | filled
        return filled | _shrink_by_word(filled)

    @field_validator("bed_mm", mode="before")
    @classmethod
    def _has_three_lengths(cls, bed_mm: Any) -> Any:  # noqa: ANN401 (whatever a file holds)
        if isinstance(bed_mm, list | tuple) and len(bed_mm) != 3:  # noqa: PLR2004 (x, y, z)
            raise RefusedError(say("design.bed"))
        return bed_mm

    @field_validator("bed_mm")
    @classmethod
    def _has_room(cls, bed_mm: tuple[float, float, float]) -> tuple[float, float, float]:
        if min(bed_mm) <= 0.0:
            raise RefusedError(say("design.bed"))
        return bed_mm

    @field_validator("machine")
    @classmethod
    def _known_machine(cls, machine: str, info: ValidationInfo) -> str:
        return _known(machine, _library(info.data.get("library")).machines)

    @field_validator("material")
    @classmethod
    def _known_material(cls, material: str, info: ValidationInfo) -> str:
        return _known(material, _library(info.data.get("library")).materials)

    @model_validator(mode="after")
    def _asks_a_service_for_what_it_does(self) -> Self:
        if self.service is None and self.process is not None:
            need = say("design.process-of-service", service=SERVICE)
            raise RefusedError.of(SpecError("process", self.process.value, need))
        if self.service is not None and self.shrink:
            raise RefusedError.of(SpecError("shrink", self.shrink, say("design.service-scales")))
        return self

    @model_serializer(mode="wrap")
    def _beside_its_machine(self, plain: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """Leave out what the machine says: another machine named later then counts."""
        values: dict[str, Any] = plain(self)
        machine = library(self.library).machines[self.machine]
        said = _figures(machine, {} if self.service is None else self.service.figures)
        return {key: v for key, v in values.items() if said.get(key, self) != getattr(self, key)}


def _figures(machine: Machine, of_process: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "nozzle_mm": machine.nozzle_mm,
        "line_width_mm": machine.line_width_mm,
        "layer_height_mm": machine.layer_height_mm,
        "bed_mm": machine.bed_mm,
        "flow_mm3_per_s": machine.flow_mm3_per_s,
        **of_process,
    }


def _service(machine: object, process: Process | None) -> ServiceProcess | None:
    return service_processes()[process or Process.FFF] if machine == SERVICE else None


def _process_figures(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a service's process says; nothing of a printer, or of an unknown process."""
    named = values.get("process")
    known = named in (None, *map(str, Process))
    made = _service(values.get("machine"), Process(named) if named and known else None)
    return made.figures if made is not None and known else {}


def _shrink_by_word(values: Mapping[str, Any]) -> dict[str, float]:
    """Return the shrinkage that a word stands for; nothing where it is a number, or left out."""
    match values.get("shrink"):
        case "off":
            return {"shrink": 0.0}
        case "auto":
            plastics = _library(values.get("library")).materials
            plastic = plastics.get(
                values.get("material", PrinterTable.model_fields["material"].default)
            )
            return {"shrink": 0.0 if plastic is None else plastic.shrink}
        case _:
            return {}


def _library(path: object) -> Library:
    return library(path if isinstance(path, str) and path else None)


def _known(name: str, names: Mapping[str, object]) -> str:
    if name not in names:
        raise RefusedError(say("design.one-of", choices=tuple(names)))
    return name
