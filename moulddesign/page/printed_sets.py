"""A set that was printed: how the page finds one, what is made for it later, and its prints."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from moulddesign import __version__
from moulddesign.building import build
from moulddesign.core import Finding, Message, say
from moulddesign.design import (
    Design,
    FileKind,
    PieceSize,
    Readings,
    SetFile,
    Table,
    given,
    parse_formats,
    save_readings,
    with_readings,
)
from moulddesign.export import ExportOptions, publish_failing
from moulddesign.page.draft import FormSection, form_sections
from moulddesign.page.jobs import Answer, Plain
from moulddesign.portion import PrintedSet, printed_set
from moulddesign.workers import Checkpoint, Job


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenSet:
    """A set that was opened on the page."""

    found: SetFile
    own: Design | None
    """The design that it was made from; None of a sleeve that was only measured."""
    folder: str = ""
    """Where readings are kept; empty for an upload."""

    @property
    def arguments(self) -> tuple[Plain, Plain | None, str]:
        """What the jobs are given of it."""
        return self.found.plain(), None if self.own is None else self.own.plain(), self.folder


class NewPart(StrEnum):
    """What is printed for a set later."""

    STAMP = "stamp"
    STOP = "stop"
    SHIM = "shim"
    PLUNGER = "plunger"
    SLEEVE = "sleeve"


class PartRequest(Table):
    """A part that is printed for a set that is there."""

    part: NewPart = given(NewPart.STAMP, "The part that is printed", main=True)
    new_pattern: str | None = given(
        None, "Another picture on the stamp; that of the set where it is left out", min_length=1,
        main=True, file=FileKind.ARTWORK,
    )  # fmt: skip
    new_face: str | None = given(None, "Another carved face on the stamp", min_length=1, main=True)
    new_clearance_mm: float | None = given(
        None, "Gap between stamp and bore, where calipers asked for another", unit="mm", gt=0, le=2
    )
    lower_stop_mm: float = given(
        0.0, "How much lower the stop is made, where calipers asked for it", unit="mm", ge=0, le=5
    )

    @property
    def values(self) -> dict[str, Any]:
        """What of the design changes: on a new face nothing lies but the new picture."""
        made: dict[str, Any] = {}
        if self.new_face is not None:
            made |= {"face": {"name": self.new_face}, "relief.layers": []}
        if self.new_pattern is not None:
            made["relief.layers"] = [{"pattern": self.new_pattern}]
        if self.new_clearance_mm is not None:
            made["mould.clearance_mm"] = self.new_clearance_mm
        return made


ONLY: Final[Mapping[str, tuple[NewPart, ...]]] = {
    "new_pattern": (NewPart.STAMP,),
    "new_face": (NewPart.STAMP,),
    "new_clearance_mm": (NewPart.STAMP,),
    "lower_stop_mm": (NewPart.STOP,),
}
"""Fields of a request, and the parts for which they count."""


def part_that_counts(tree: Mapping[str, Any]) -> dict[str, Any]:
    """Return of all that was typed what counts for the part.

    Examples
    --------
    >>> part_that_counts({"part": "stop", "new_face": "peony", "lower_stop_mm": 0.4})
    {'part': 'stop', 'lower_stop_mm': 0.4}
    """
    part = tree.get("part", NewPart.STAMP.value)
    return {key: value for key, value in tree.items() if part in ONLY.get(key, (part,))}


def sections_of(model: type[Table], only: Mapping[str, tuple[str, ...]]) -> tuple[FormSection, ...]:
    """Return the fields of a model, each with the parts for which it is shown."""
    (found,) = form_sections(model.model_json_schema())
    fields = (
        replace(each, main=True, only=(("part", only[each.name]),) if each.name in only else ())
        for each in found.fields
    )
    return (FormSection(name="", fields=tuple(fields)),)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewParts:
    """What was made for a set."""

    design: Design
    part: str
    files: Mapping[str, bytes]
    findings: tuple[Finding, ...]
    cautions: tuple[Message | str, ...]


def design_for(opened: OpenSet, present: Design, request: PartRequest) -> Design:
    """Return the design of a part for a set, as `make --for` makes it of options."""
    values = request.values
    if opened.own is None:
        found = present.for_set(opened.found, lower_stop_mm=request.lower_stop_mm)
    else:
        found = opened.own.more_for_set(
            opened.found, is_changed=bool(values), lower_stop_mm=request.lower_stop_mm
        )
    return found.with_values(values)


def make_part(checkpoint: Checkpoint, plain: Plain, asked: Plain, *opened: Any) -> Answer:  # noqa: ANN401
    """Yield a part for a set: its files and findings."""
    request, kept = PartRequest.of(asked), _opened(*opened)
    design = design_for(kept, Design.of(plain), request)
    made = build(design, lambda _: checkpoint())
    options = ExportOptions(formats=parse_formats("stl"), only=(request.part.value,))
    with TemporaryDirectory(prefix="moulddesign-") as folder:
        target = Path(folder) / "part"
        made = publish_failing(made, target, options)
        files = {path.name: path.read_bytes() for path in sorted(target.iterdir())}
    yield (
        "part",
        NewParts(
            design=design,
            part=request.part.value,
            files=files,
            findings=made.findings,
            cautions=made.cautions,
        ),
    )


def _opened(found: Plain, own: Plain | None, folder: str) -> OpenSet:
    return OpenSet(
        found=SetFile.of(found), own=None if own is None else Design.of(own), folder=folder
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedPrints:
    """What came off the printer."""

    found: SetFile
    """With the readings."""
    made: PrintedSet | None
    """None where nothing was read."""
    text: str
    """Of the set's file, with the readings."""

    @property
    def rows(self) -> Iterator[tuple[PieceSize, float | None]]:
        """Each size, and what was read."""
        read = {} if self.found.readings is None else self.found.readings.plain()
        return ((size, read.get(size.key)) for size in self.found.sizes)

    @property
    def to_do(self) -> dict[str, Any]:
        """What the one thing to do asks of a new part; empty where it asks for none."""
        if self.made is None:
            return {}
        values = dict(self.made.to_do.values)
        match self.made.to_do.id:
            case "portion.stamp-sticks" | "portion.stamp-leans":
                clearance_mm = round(values["clearance_mm"], 2)  # as the sentence says it
                return {"part": NewPart.STAMP.value, "new_clearance_mm": clearance_mm}
            case "portion.stop-too-high":
                return {"part": NewPart.STOP.value, "lower_stop_mm": round(values["lower_mm"], 1)}
            case "portion.stop-too-low":
                return {"part": NewPart.SHIM.value}
        return {}


def judge_prints(_checkpoint: Checkpoint, _plain: Plain, asked: Plain, *opened: Any) -> Answer:  # noqa: ANN401
    """Yield what prints are by caliper readings, which are kept with the set where it lies."""
    kept, readings = _opened(*opened), Readings.of(asked).plain()
    found = with_readings(kept.found, readings)
    if kept.folder and readings:
        save_readings(Path(kept.folder), readings)
    made = printed_set(found, kept.folder or found.name) if found.readings is not None else None
    yield "prints", JudgedPrints(found=found, made=made, text=found.toml(__version__))


PART: Final = Job(say("page.the-files"), make_part)
PRINTS: Final = Job(say("page.the-checks"), judge_prints)
