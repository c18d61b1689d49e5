"""The Design as a whole: read from TOML, overridden by options, written back."""

from collections.abc import Mapping
from os import PathLike
from pathlib import Path
from re import sub
from typing import Any, Final, Self

import tomli_w
from pydantic import field_validator, model_validator
from pydantic.json_schema import SkipJsonSchema

from moulddesign import __version__
from moulddesign.core import LANGUAGES, Language, Message, SpecError, say, word
from moulddesign.design.assets import DRAWINGS, PREFIX, ShareTable, resolve_files
from moulddesign.design.batch_tables import BakeDayTable, BatchTable, PriceTable
from moulddesign.design.dough_book import DoughTable
from moulddesign.design.earlier import MADE_WITH, without_written
from moulddesign.design.face_tables import FaceTable
from moulddesign.design.kept_sets import KeptSet, SetFile
from moulddesign.design.mould_tables import (
    LEAST_BAND_DRAFT_DEG,
    Kind,
    MouldTable,
    OwnTable,
    PressTable,
    of_kind,
)
from moulddesign.design.piece_tables import (
    NAMED_FIGURES,
    SIZES,
    UNFILLED_RATIO,
    LabelTable,
    PastryTable,
    PieceComposition,
    PortionTable,
    ScaleTable,
)
from moulddesign.design.printers import PrinterTable
from moulddesign.design.reading import read_tables
from moulddesign.design.relief_tables import USUAL_DEPTH_MM, Layer, ReliefTable
from moulddesign.design.schema import RefusedError, Table, as_file_name, given
from moulddesign.design.services import left_behind
from moulddesign.design.stamp_tables import MOST_STAMPS, FurtherStamp

DESIGN_FILE: Final = "design.toml"
"""What the design file of a build or of a set is called."""


def design_path(file: Path) -> Path:
    """Return a design file; of a folder, the one in it that a build wrote there."""
    inside = file / DESIGN_FILE
    return inside if inside.is_file() else file


RESERVED: Final = {"con", "prn", "aux", "nul"} | {
    f"{device}{number}" for device in ("com", "lpt") for number in "123456789"
}
"""File names that one operating system keeps for its devices."""


LONGEST_DEFAULT: Final = 60
"""Longest name that follows from a design; our choice [characters]."""


def _stem(name: str) -> str:
    """Return a name, or that of a drawing's file, as part of a folder's name."""
    own = Path(name).stem.removeprefix(PREFIX) if name.lower().endswith(DRAWINGS) else name
    return sub(r"\W+", "-", own).strip("-")


class Design(Table):
    """What is asked for. Frozen, and valid where it exists at all.

    Build it with `Design.read`, `Design.of` or `Design()`; the first two raise `SpecError`
    with one sentence where a value cannot be used.
    """

    name: str = given(
        None, "Name of the design and of its folder; weight, outline and artwork where it is left "
        "out", max_length=80, main=True,
    )  # fmt: skip
    language: Language | None = given(
        None, "Language of card, drawing and sheets; English where it is left out", main=True
    )
    # Defaults are valid as they stand: to check them, validators would be built at each start.
    portion: PortionTable = PortionTable.model_construct()
    dough: DoughTable = DoughTable.model_construct()
    pastry: PastryTable = PastryTable.model_construct()
    relief: ReliefTable = ReliefTable.model_construct()
    face: SkipJsonSchema[FaceTable | None] = given(
        None, "Carved face; a flat top where it is left out"
    )
    mould: MouldTable = PressTable.model_construct()
    further_stamps: tuple[FurtherStamp, ...] = given(
        (), "Stamps with other faces or reliefs for the same sleeve and plunger of a press",
        max_length=MOST_STAMPS, main=True,
    )  # fmt: skip
    kept: SkipJsonSchema[KeptSet | None] = given(
        None, "Set that stamp and stop are made for; all parts are new where it is left out"
    )
    share: SkipJsonSchema[ShareTable | None] = given(
        None, "Author, licence and customer's drawings, for a bundle that is handed on"
    )
    from_workshop: SkipJsonSchema[tuple[str, ...]] = given(
        (), "Keys whose values came from the workshop of who made the file", max_length=40
    )
    printer: PrinterTable = PrinterTable()
    scale: ScaleTable = ScaleTable.model_construct()
    label: LabelTable = LabelTable.model_construct()
    batch: BatchTable = BatchTable.model_construct()
    bake_day: BakeDayTable = BakeDayTable.model_construct()
    price: PriceTable = PriceTable.model_construct()

    @field_validator("name")
    @classmethod
    def _can_name_a_folder(cls, name: str) -> str:
        if name.partition(".")[0].lower() in RESERVED:
            raise RefusedError(say("design.name-of-a-device"))
        return as_file_name(name)

    @model_validator(mode="after")
    def _a_face_alone_takes_no_artwork(self) -> Self:
        # The relief's default is for a flat top; on a face lies what was asked for.
        if self.face is not None and "layers" not in self.relief.model_fields_set:
            plain = self.relief.model_copy(update={"layers": ()})
            object.__setattr__(self, "relief", plain)
        return self

    @model_validator(mode="after")
    def _is_called_what_it_is(self) -> Self:
        if self.name is None:
            # The default follows from the other fields; for everybody else the design is frozen.
            object.__setattr__(self, "name", self._default_name())
        return self

    def _default_name(self) -> str:
        """Return weight, outline and artwork as a name, "75g-round-chestnut"; or the mould's."""
        if self.own_mould is not None and _stem(self.own_mould.name):
            return _stem(self.own_mould.name)
        drawn = [each.pattern or each.motif or each.text or "" for each in self.relief.layers]
        if self.face is not None:
            drawn = [self.face.name or "carved", *drawn]
        stems = [
            _stem(name) for name in dict.fromkeys((self.pastry.outline, *(drawn or ["plain"])))
        ]
        name = "-".join([f"{round(self.portion.finished_weight_g, 1):g}g", *filter(None, stems)])
        return name[:LONGEST_DEFAULT].rstrip("-.")

    @model_validator(mode="after")
    def _is_as_deep_as_layers_are(self) -> Self:
        if self.relief.depth_mm is None:
            relief, layer_mm = self.relief.model_copy(), self.printer.height_step_mm
            depth_mm = round(round(USUAL_DEPTH_MM / layer_mm) * layer_mm, 6)
            # As above; and the copy does not count it as given.
            object.__setattr__(relief, "depth_mm", depth_mm)
            object.__setattr__(self, "relief", relief)
        return self

    @field_validator("mould", mode="before")
    @classmethod
    def _press_where_no_kind_is_named(cls, mould: object) -> object:
        if isinstance(mould, Mapping) and "kind" not in mould:
            return {"kind": Kind.PRESS, **mould}
        return mould

    @model_validator(mode="after")
    def _stamps_go_on_one_plunger(self) -> Self:
        if self.further_stamps and self.mould.kind is not Kind.PRESS:
            need = say("design.no-stamps-to-swap", kind=word(Kind.PRESS.value))
            raise RefusedError.of(SpecError("mould.kind", self.mould.kind.value, need))
        try:
            FurtherStamp.refuse_twins(self.further_stamps)
        except SpecError as error:
            raise RefusedError.of(error) from error
        return self

    @model_validator(mode="after")
    def _fills_its_kept_bore(self) -> Self:
        if self.kept is None:
            return self
        if self.mould.kind is not Kind.PRESS:
            need = say("design.kept-press", kind=word(Kind.PRESS.value))
            raise RefusedError.of(SpecError("mould.kind", self.mould.kind.value, need))
        try:
            self.kept.refuse_other_bore(self.pastry)
        except SpecError as error:
            raise RefusedError.of(error) from error
        return self

    @model_validator(mode="after")
    def _bands_of_its_side_come_out(self) -> Self:
        mould = self.mould
        if not self.pastry.side_bands:
            return self
        if isinstance(mould, PressTable | OwnTable):
            kinds = (word(Kind.BLOCK), word(Kind.CAST))
            of_sleeve = say("design.bands-in-sleeve", kinds=kinds)
            of_own = say("design.bands-in-own-mould", kinds=kinds)
            need = of_sleeve if isinstance(mould, PressTable) else of_own
            raise RefusedError.of(SpecError("mould.kind", mould.kind.value, need))
        if mould.side_lean_deg < LEAST_BAND_DRAFT_DEG:
            need = say("design.bands-need-draft", least_deg=LEAST_BAND_DRAFT_DEG)
            raise RefusedError.of(SpecError("mould.side_draft_deg", mould.side_lean_deg, need))
        return self

    @property
    def stamp_inset_mm(self) -> float:
        """Outline of the pastry to that of the stamp which presses it, 0 without one [mm]."""
        mould = self.mould
        return mould.stamp_gap_mm(self.printer) if isinstance(mould, PressTable) else 0.0

    @property
    def sheet_language(self) -> str:
        """Language that card, drawing and sheets are asked for in."""
        return LANGUAGES[0] if self.language is None else self.language.value

    @property
    def own_mould(self) -> OwnTable | None:
        """The mould that exists for this piece; None where one is made."""
        return self.mould if isinstance(self.mould, OwnTable) else None

    @property
    def layers(self) -> tuple[Layer, ...]:
        """Every layer: the relief's, then those of the further stamps."""
        further = (layer for stamp in self.further_stamps for layer in stamp.layers)
        return (*self.relief.layers, *further)

    def under(self, stamp: FurtherStamp) -> Self:
        """Return the design with the face and the relief of one of its further stamps."""
        return self.model_copy(update={"relief": stamp.relief(self.relief), "face": stamp.face})

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """Return the design of nested plain values; the version that wrote them does not count.

        Raises
        ------
        SpecError
            A key is unknown or of another kind of mould, or a value cannot be used.
        """
        return super().of({key: value for key, value in values.items() if key != MADE_WITH})

    @classmethod
    def of_file(cls, tree: Mapping[str, Any]) -> tuple[Self, tuple[Message, ...]]:
        """Return the design of a file's plain values, and notes about what does not count.

        A file without `made_with` may hold keys of another kind of mould, or keys that exist no
        more, at the value that earlier versions wrote.

        Raises
        ------
        SpecError
            A key is unknown or of another kind of mould, or a value cannot be used.
        """
        plain, notes = without_written(tree)
        return cls.of(plain), notes

    @classmethod
    def read(cls, path: str | PathLike[str]) -> Self:
        """Return the design in a TOML file; drawings that it names lie beside it.

        Raises
        ------
        FileError
            The file cannot be read or is not TOML.
        FileMistakesError
            Keys are unknown or of another kind of mould, or values cannot be used.
        """
        return cls.read_with_notes(path)[0]

    @classmethod
    def read_with_notes(cls, path: str | PathLike[str]) -> tuple[Self, tuple[Message, ...]]:
        """Return the design in a TOML file as `read` does, and the notes of `of_file`."""
        return read_tables(
            path, cls, lambda tree: cls.of_file(resolve_files(tree, cls, Path(path).parent))
        )

    @classmethod
    def file_schema(cls) -> dict[str, Any]:
        """Return the JSON Schema of a design file: the design's, its face, and what wrote it."""
        schema = cls.model_json_schema()
        written = {
            MADE_WITH: {
                "type": "string",
                "description": "Version of moulddesign that wrote the file; leave it out by hand",
            },
            "from_workshop": {
                "type": "array",
                "items": {"type": "string"},
                "description": cls.model_fields["from_workshop"].description,
            },
        }
        face = FaceTable.model_json_schema()
        defined = schema["$defs"] | face.pop("$defs") | {"FaceTable": face}
        carved = {"face": {"$ref": "#/$defs/FaceTable"}}
        kept = KeptSet.model_json_schema()
        defined = kept.pop("$defs") | defined | {"KeptSet": kept}
        defined["ShareTable"] = ShareTable.model_json_schema()
        stamp = defined["FurtherStamp"]
        defined["FurtherStamp"] = stamp | {"properties": stamp["properties"] | carved}
        own = {
            "kept": {"$ref": "#/$defs/KeptSet"},
            "share": {"$ref": "#/$defs/ShareTable"},
        }
        properties = schema["properties"] | written | carved | own
        return schema | {"$defs": defined, "properties": properties}

    def with_values(self, values: Mapping[str, Any]) -> Self:
        """Return the design with some values replaced.

        Parameters
        ----------
        values : mapping of str to object
            Dotted name to value: ``{"portion.ratio": "4:6"}``. A size given here (width, height
            or height to width) takes the place of whichever size the design had, and the name of
            a dough or paste the place of the figures that it stands for. With another kind of
            mould, the keys that only the old kind has are dropped, and with another composition
            what only a filled piece has, or lacks. A service in the printer's place drops what
            was measured of the printer, and a printer the service's process.

        Raises
        ------
        SpecError
            A key is unknown or a value cannot be used.
        """
        tree = self.plain()
        if any(f"pastry.{size}" in values for size in SIZES):
            for size in SIZES:
                tree["pastry"].pop(size, None)
        named = (n for n in NAMED_FIGURES if values.get(f"portion.{n}") is not None)
        for figure in (figure for name in named for figure in NAMED_FIGURES[name]):
            tree["portion"].pop(figure, None)
        _fill_or_empty(tree["portion"], values)
        tree["mould"] = of_kind(tree["mould"], values.get("mould.kind", self.mould.kind))
        for key in left_behind(self.printer.machine, values.get("printer.machine")):
            tree["printer"].pop(key, None)
        for dotted, value in values.items():
            *tables, key = dotted.split(".")
            table = tree
            for part in tables:
                table = table.setdefault(part, {})
            table[key] = value
        return type(self).of(tree)

    def more_for_set(self, found: SetFile, *, is_changed: bool, lower_stop_mm: float = 0.0) -> Self:
        """Return the design of further parts for the set that was made from this design.

        Where something changes it goes without its name and its further stamps. `for_set` says what
        is raised.
        """
        left = {"name", "further_stamps"} if is_changed else set()
        own = type(self).of({key: each for key, each in self.plain().items() if key not in left})
        return own.for_set(found, lower_stop_mm=lower_stop_mm)

    def for_set(self, found: SetFile, *, lower_stop_mm: float = 0.0) -> Self:
        """Return the design of parts that fit a set: out of its bore, by its press.

        Gap and skin of the stamp stay the design's own.

        Parameters
        ----------
        lower_stop_mm : float
            How much lower than solved the stop is made [mm].

        Raises
        ------
        SpecError
            A value of the design contradicts the set.
        """
        kept, tree = found.kept, self.plain()
        if found.press is None and lower_stop_mm:
            raise SpecError("--lower-stop", lower_stop_mm, say("design.stop-of-no-set"))
        if found.press is not None:
            own = {key: v for key, v in tree["mould"].items() if key in {"clearance_mm", "skin_mm"}}
            shared = found.press.table.plain()
            shared.pop("clearance_mm", None)
            tree["mould"] = shared | own
            kept["press"]["lower_stop_mm"] = lower_stop_mm
        values = {f"pastry.{key}": value for key, value in found.pastry_values.items()}
        return type(self).of(tree | {"kept": None}).with_values(values | {"kept": kept})

    def plain(self) -> dict[str, Any]:
        """Return nested plain values, without what follows from others: name, depth of relief."""
        plain = self.report()
        if "name" not in self.model_fields_set:
            del plain["name"]
        if "depth_mm" not in self.relief.model_fields_set:
            del plain["relief"]["depth_mm"]
        return plain

    def report(self) -> dict[str, Any]:
        """Return nested plain values with the name and the depth of the relief, given or not."""
        plain = super().plain()
        if not self.from_workshop:
            del plain["from_workshop"]
        if not plain["dough"]:
            del plain["dough"]
        return plain

    def toml(self) -> str:
        """Return the design as the text of a TOML file that `read` takes back."""
        return tomli_w.dumps({MADE_WITH: __version__} | self.report())


def _fill_or_empty(table: dict[str, Any], values: Mapping[str, Any]) -> None:
    """Drop from the plain values of a portion what its new composition has no use for."""
    composition = values.get("portion.composition")
    if composition == PieceComposition.WRAPPED and table["ratio"] == UNFILLED_RATIO:
        del table["ratio"]
    elif composition in {PieceComposition.SOLID, PieceComposition.POURED}:
        table["ratio"] = UNFILLED_RATIO
        table.pop("filling_paste", None)
        table["centres"] = []
