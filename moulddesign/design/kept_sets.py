"""What the parts of a press share, written with the set, so that parts made later still fit.

A new pattern changes the height of the piece, and with it everything above. A kept set has the
numbers as they came out once: bore, heights of sleeve and plunger, and the joint. A stamp made for
it takes up the difference in its thickness. A sleeve of which only the bore and the height were
measured does as well; then the plunger is new too.
"""

from collections.abc import Mapping
from os import PathLike
from pathlib import Path
from typing import Any, Final, Literal, Self

import tomli_w
from pydantic import model_validator
from pydantic.json_schema import SkipJsonSchema

from moulddesign.core import FileError, SpecError, parse_toml, read_text, replace_file, say, word
from moulddesign.design.assets import resolve_files
from moulddesign.design.earlier import MADE_WITH
from moulddesign.design.mould_tables import PressTable
from moulddesign.design.piece_tables import MEANT_FOR, SIZES, PastryTable, SideForm
from moulddesign.design.reading import read_tables
from moulddesign.design.schema import RefusedError, Table, given

SET_FILE: Final = "set.toml"
"""What the file of a set is called in its folder."""

FORM: Final = 1
"""Form of foot and slot, and of how a stamp's land and back are cut. Whoever changes what makes an
old foot fit a new slot counts it up, and keeps the old form for the sets that have it."""

LENGTH: Final[dict[str, Any]] = {"unit": "mm", "ge": 0, "le": 400}
"""What the lengths of a set share: they are measured or solved, so none has a default."""

READING: Final[dict[str, Any]] = {"unit": "mm", "gt": 0, "le": 400}


class JointTable(Table):
    """Foot and slot; depths are measured down from the stamp's back."""

    gap_mm: float = given(..., "Air on each side of the foot", **LENGTH)
    neck_mm: float = given(..., "Half the width of the foot's neck", **LENGTH)
    neck_depth_mm: float = given(..., "Shoulder to where the lugs begin", **LENGTH)
    lug_mm: float = given(..., "How far each lug reaches beyond the neck", **LENGTH)
    half_length_mm: float = given(..., "Half the length of the foot", **LENGTH)
    stem_radius_mm: float = given(..., "Radius of the plunger's stem", **LENGTH)
    waist_mm: float = given(..., "Height over which the foot is widest", **LENGTH)
    ridge_mm: float = given(..., "Half the width of the foot's lower end", **LENGTH)
    lip_mm: float = given(..., "Height of the lip behind which the foot hangs", **LENGTH)


class KeptPress(Table):
    """Sleeve and plunger as they were made. Heights are over the table, at the nominal press."""

    form: Literal[1] = given(..., "Form of joint and stamp")
    clearance_mm: float = given(..., "Gap between bore and vanes, each side", **LENGTH)
    back_mm: float = given(
        ..., "Back of the stamp, on which the plunger's shoulder bears", **LENGTH
    )
    vane_top_mm: float = given(..., "Where the vanes begin to narrow", **LENGTH)
    disc_low_mm: float = given(..., "Underside of the palm disc", **LENGTH)
    stop_mm: float = given(..., "Height of the stop", **LENGTH)
    lower_stop_mm: float = given(
        0.0, "How much lower than solved a stop is made, where calipers showed it", unit="mm",
        ge=-5, le=5,
    )  # fmt: skip
    says: tuple[str, ...] = given(..., "What is written on sleeve and plunger, the longest first")
    joint: JointTable
    table: PressTable


class KeptSet(Table):
    """What parts made later have to fit: a whole press, or a sleeve by its sizes alone."""

    sleeve_height_mm: float = given(
        ..., "Height of the sleeve, from the table to the flange's top", unit="mm", gt=0, le=400
    )
    bore: PastryTable
    press: KeptPress | None = None

    @model_validator(mode="after")
    def _bore_is_whole(self) -> Self:
        missing = [
            key
            for key, outlines in {"width_mm": (self.bore.outline,), **MEANT_FOR}.items()
            if self.bore.outline in outlines and key not in self.bore.model_fields_set
        ]
        if self.bore.side is not SideForm.PLAIN and self.bore.side_count is None:
            missing.append("side_count")
        if missing:
            need = say("design.bore-lacks", outline=word(self.bore.outline))
            raise RefusedError.of(SpecError(f"bore.{missing[0]}", None, need))
        strange = [key for key in SIZES[1:] if getattr(self.bore, key) is not None]
        if strange:
            need = say("design.height-of-a-bore")
            raise RefusedError.of(
                SpecError(f"bore.{strange[0]}", getattr(self.bore, strange[0]), need)
            )
        return self

    @property
    def pastry_values(self) -> dict[str, Any]:
        """The keys of [pastry] that a piece out of this bore has."""
        return {key: value for key in BORE if (value := getattr(self.bore, key)) is not None}

    def refuse_other_bore(self, pastry: PastryTable) -> None:
        """Raise `SpecError` where a piece is asked for that does not fill this bore."""
        for key in SIZES[1:]:
            if getattr(pastry, key) is not None:
                raise SpecError(f"pastry.{key}", getattr(pastry, key), say("design.kept-height"))
        for key in BORE:
            own, asked = getattr(self.bore, key), getattr(pastry, key)
            if own is not None and asked != own:
                raise SpecError(f"pastry.{key}", asked, say("design.kept-bore", value=own))


BORE: Final = (
    "outline", "width_mm", "corner_radius_mm", "lobes", "lobe_depth_mm", "side", "side_count",
    "side_depth_mm",
)  # fmt: skip
"""Keys of [pastry] that say what the bore is."""


class PieceSize(Table):
    """One size of a printed part that calipers can read."""

    key: str = given(..., "Its reading")
    part: str = given(..., "Part")
    mm: float = given(..., "As designed", **LENGTH)
    within_mm: float = given(..., "How far a print may be off, either way", **LENGTH)


class PressedPiece(Table):
    """The piece that a set presses, as it was designed."""

    finished_g: float = given(..., "Finished weight", unit="g", gt=0)
    volume_ml: float = given(..., "Volume", unit="mL", gt=0)
    height_mm: float = given(..., "Height to the flat top or the face's ground", **LENGTH)
    area_mm2: float = given(..., "Area of the outline", unit="mm2", gt=0)
    stopped_mm: float = given(..., "Height at which the stop ends the press", **LENGTH)
    guide_mm: float = given(..., "Length over which stamp and vanes guide", **LENGTH)
    clearance_mm: float = given(..., "Gap between bore and stamp, each side", **LENGTH)
    shim_layer_mm: float | None = given(
        None, "Layer that stops and shims are counted in; how far a stop may be off where it is "
        "left out", unit="mm", gt=0, le=1,
    )  # fmt: skip
    least_g: float = given(..., "Least finished weight that the sleeve takes", unit="g", gt=0)
    most_g: float = given(..., "Greatest finished weight that the sleeve takes", unit="g", gt=0)


class Readings(Table):
    """What calipers read on the prints; what was not read counts as designed."""

    bore_mm: float | None = given(None, "Width inside the sleeve, along x", **READING)
    sleeve_mm: float | None = given(None, "Height of the sleeve", **READING)
    stamp_mm: float | None = given(None, "Width of the stamp at its land, along x", **READING)
    thickness_mm: float | None = given(None, "Thickness of the stamp over all", **READING)
    stop_mm: float | None = given(None, "Height of the stop", **READING)


class SetFile(KeptSet):
    """The file of a set: what is kept, and the sizes of parts and prints."""

    name: str = given("set", "Name of the set", max_length=80)
    made_with: SkipJsonSchema[str] = given("", "Version that wrote the file")
    piece: PressedPiece | None = None
    sizes: tuple[PieceSize, ...] = given((), "Sizes to measure on the prints", max_length=40)
    readings: Readings | None = None

    def size(self, key: str) -> PieceSize:
        """Return the size of a reading; raise `SpecError` where the file has none."""
        found = next((each for each in self.sizes if each.key == key), None)
        if found is None:
            raise SpecError("sizes", key, say("design.set-without-size"))
        return found

    @property
    def kept(self) -> dict[str, Any]:
        """The kept set as plain values, for a design."""
        return {key: value for key, value in self.plain().items() if key in KEPT}

    def toml(self, version: str) -> str:
        """Return it as the text of a file that `read_set_file` takes back, with what wrote it."""
        return HEAD + tomli_w.dumps(self.plain() | {MADE_WITH: version})


KEPT: Final = frozenset(KeptSet.model_fields)
"""Keys of a file that a design takes over; the others tell of the parts in its folder."""

HEAD: Final = "# What the parts of this set share. Keep it: parts made later are made to fit it.\n"


def set_path(path: Path) -> Path:
    """Return the file of a set; of a folder, the one in it.

    Raises
    ------
    FileError
        The folder holds none: its parts came from an earlier version, or are no press.
    """
    if not path.is_dir():
        return path
    if not (path / SET_FILE).is_file():
        raise FileError(str(path), say("design.no-set-file", file=SET_FILE))
    return path / SET_FILE


def with_readings(made: SetFile, given: Mapping[str, float | None]) -> SetFile:
    """Return a set with caliper readings beside what was read before.

    Raises
    ------
    SpecError
        A reading cannot be used.
    """
    new = {key: value for key, value in given.items() if value is not None}
    before = {} if made.readings is None else made.readings.plain()
    readings = Readings.of(before | new)
    for key, value in new.items():
        size = made.size(key)
        if abs(value - size.mm) > MOST_OFF_MM:
            need = say("design.reading-far-off", mm=size.mm, most_mm=MOST_OFF_MM)
            raise SpecError(key, value, need)
    return made.model_copy(update={"readings": readings})


def save_readings(path: Path, given: Mapping[str, float | None]) -> SetFile:
    """Write caliper readings into the file of a set, beside what was read before, and return it.

    Raises
    ------
    SpecError
        A reading cannot be used.
    FileError, WriteError
        The file cannot be read or written.
    """
    file = set_path(path)
    made = with_readings(read_set_file(file), given)
    assert made.readings is not None  # noqa: S101 (just made)
    before = parse_toml(read_text(file), file)
    text = HEAD + tomli_w.dumps(before | {"readings": made.readings.plain()})
    replace_file(file, text.encode())
    return made


MOST_OFF_MM: Final = 3.0
"""A reading that is farther off is one of another part, or in another unit; our choice [mm]."""


def read_set_file(path: str | PathLike[str]) -> SetFile:
    """Return the set of a file, or of the folder of a build.

    Raises
    ------
    FileError
        There is no such file, or the folder holds none: its parts came from an earlier version.
    FileMistakesError
        Keys are unknown or missing, or values cannot be used.
    """
    file = set_path(Path(path))
    return read_tables(
        file, SetFile, lambda tree: SetFile.of(resolve_files(tree, SetFile, file.parent))
    )
