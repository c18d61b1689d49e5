"""The files of a build besides STL, report and design: which there are, and how each is made."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cached_property, partial
from types import MappingProxyType
from typing import Any, Final

from moulddesign.building import PASTRY, Build, Shape
from moulddesign.core import LANGUAGES, say
from moulddesign.core.concurrency import Task
from moulddesign.design import Format
from moulddesign.export.approval import APPROVAL_PDF, TOP_PNG, approval_sheet, top_scene
from moulddesign.export.card import Card, card_figures
from moulddesign.export.card_html import CARD_HTML
from moulddesign.export.carving_templates import carving_templates
from moulddesign.export.drawing import (
    Drawing,
    Sections,
    build_sections,
    card_section,
    drawing,
    dxf_bytes,
    svg_bytes,
)
from moulddesign.export.engraving import (
    Engraving,
    engraving,
    engraving_png,
    least_pixel_mm,
    left_png,
)
from moulddesign.export.fonts import Fonts, fonts_of
from moulddesign.export.formats import (
    NO_RELIEF,
    ExportOptions,
    StepFile,
    glb_bytes,
    made_larger_text,
    step_file,
    threemf_bytes,
)
from moulddesign.export.height_maps import (
    TopHeights,
    heightmap_png,
    mapped_pastries,
    refuse_cast,
    top_heights,
)
from moulddesign.export.order_sheet import ORDER_PDF, order_sheet
from moulddesign.export.pictures import (
    CAPTION,
    ReliefPlan,
    assembled_parts,
    face_name,
    face_pictures,
    further_pastry_scenes,
    parts_scene,
    pastry_scene,
    printed_parts,
    relief_pictures,
    relief_plan,
    row_scene,
)
from moulddesign.export.press_steps import PressStep, press_steps
from moulddesign.geometry import Mesh
from moulddesign.geometry.mending import in_float32
from moulddesign.pastry.pastry import Pastry
from moulddesign.render import Scene, picture_png

PASTRY_PNG: Final = "pastry.png"
PARTS_PNG: Final = "parts.png"
PRINT_PNG: Final = "print.png"
RELIEF_PNG: Final = "relief.png"
CARD_PDF: Final = "card.pdf"
HEIGHTMAP: Final = "heightmap"
ENGRAVING: Final = "engraving"
STEP_END: Final = ".step"
LEFT: Final = "-left"
"""Ends the name of the picture of what a cutter leaves."""
TEMPLATES: Final = "templates"

SCENES_OF: Final = MappingProxyType(
    {
        Format.PICTURES: (PASTRY_PNG, PARTS_PNG),
        Format.CARD: (PASTRY_PNG, PARTS_PNG, PRINT_PNG),
        Format.THREEMF: (PRINT_PNG,),
        Format.APPROVAL: (TOP_PNG, PASTRY_PNG),
    }
)
"""Pictures that a format needs, whether or not they become files."""

SHOWING_RELIEF: Final = frozenset({Format.PICTURES, Format.CARD, Format.APPROVAL})
"""Formats with the relief's picture."""

CARDS: Final = (CARD_HTML, CARD_PDF)
EVERYTHING: Final = ExportOptions()

ROW_GAP: Final = 0.5
"""Between further stamps in a row, as a share of the sleeve's width."""


Makers = Mapping[str, Task]
"""What makes each file, by its name: its bytes, or a `StepFile`; and the picture of each face."""


class BuildFiles:
    """The files of a build that do not depend on its findings, each made once; and its card.

    Parameters
    ----------
    makers : Mapping or None
        The `face_makers` and `sendable_makers` of the build and the options, where another process
        was given them.
    """

    def __init__(
        self, build: Build, options: ExportOptions = EVERYTHING, makers: Makers | None = None
    ) -> None:
        self.build = build
        self.options = options
        self.exact_mm3: dict[str, float] = {}
        """Volumes of the exact bodies in the STEP files that were made [mm^3]."""
        self._made: dict[str, bytes] = {}
        self._given = makers

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the files but for the card."""
        every = file_names(self.build, self.options)
        return tuple(name for name in every if name not in CARDS)

    def file(self, name: str) -> bytes:
        """Return a file or a picture of the card by its name."""
        if name not in self._made:
            self._made[name] = self._make(name)
        return self._made[name]

    @property
    def exact_makers(self) -> Makers:
        """What makes those STEP files that are not made yet."""
        every = self._makers.items()
        return {n: m for n, m in every if n.endswith(STEP_END) and n not in self._made}

    def keep_exact(self, made: Mapping[str, StepFile]) -> None:
        """Keep STEP files that were made."""
        self._made |= {name: one.content for name, one in made.items()}
        self.exact_mm3 |= {name: one.volume_mm3 for name, one in made.items()}

    def card(self, build: Build) -> Card:
        """Return the card, which tells the findings of the build as it is written."""
        size_mm, entities = card_section(self.build, self._sections)
        section = svg_bytes(size_mm, entities, "section", fonts=self._fonts)
        pictures = {name: self.file(name) for name in (*SCENES_OF[Format.CARD], RELIEF_PNG)}
        others = enumerate(further_pastry_scenes(self.build))
        pictures |= {f"other-{number}.png": self.file(name) for number, name in others}
        figures = card_figures(build, self.options.recipe)
        figures |= {"relief": self._relief.caption, "caption": CAPTION}
        figures |= {"steps": [[step.name, step.says] for step in self.steps]}
        pictures |= {f"step-{number}.svg": step.picture for number, step in enumerate(self.steps)}
        return Card(
            figures=figures,
            pictures=pictures | {"section.svg": section},
            paper=self.options.paper,
            fonts=self._fonts,
        )

    @cached_property
    def height_maps(self) -> Mapping[str, TopHeights]:
        """The height maps that are asked for, by the names of their files."""
        asked = Format.HEIGHTMAP in self.options.formats
        return {f"{HEIGHTMAP}{end}.png": top for end, top in self._tops.items()} if asked else {}

    @cached_property
    def engravings(self) -> Mapping[str, Engraving]:
        """The engravings that are asked for, by the names of their files."""
        if Format.ENGRAVING not in self.options.formats:
            return {}
        cutter, made = self.options.cutter, {}
        for end, (pastry, mesh) in mapped_pastries(self.build).items():
            top = self._tops[end]
            pixel_mm = least_pixel_mm(cutter, top.range_mm[1] - top.range_mm[0])
            if pixel_mm > top.grid.pixel_mm:
                top = top_heights(self.build, pastry, mesh, pixel_mm)
            made[f"{ENGRAVING}{end}.png"] = engraving(self.build, top, cutter)
        return made

    @property
    def map_reports(self) -> Mapping[str, Any]:
        """What height maps and engravings mean, by the names of their files."""
        return {name: made.report() for name, made in self.height_maps.items()} | {
            name: made.report(self.build) for name, made in self.engravings.items()
        }

    @cached_property
    def _tops(self) -> Mapping[str, TopHeights]:
        """The heights of each pastry, by the ends of their files' names."""
        return {
            end: top_heights(self.build, pastry, mesh)
            for end, (pastry, mesh) in mapped_pastries(self.build).items()
        }

    @cached_property
    def _templates(self) -> Mapping[str, Drawing]:
        """The templates for carving by hand, by the stems of their files."""
        refuse_cast(self.build, TEMPLATES)
        return {
            f"{TEMPLATES}{end}": carving_templates(
                top, f"{self.build.design.name}{end}", self._fonts
            )
            for end, top in self._tops.items()
        }

    @cached_property
    def steps(self) -> tuple[PressStep, ...]:
        """The steps of the work with a press."""
        return tuple(press_steps(self.build, self._sections.parts, self._sections.pastry))

    @cached_property
    def _makers(self) -> Makers:
        if self._given is not None:
            return self._given
        faces = face_makers(self.build, self.options)
        return {**faces, **sendable_makers(self.build, self.options)}

    def _make(self, name: str) -> bytes:
        if name in self._makers:
            made: StepFile | bytes = self._makers[name]()
            if isinstance(made, bytes):
                return made
            self.keep_exact({name: made})
            return made.content
        stem, _, ending = name.rpartition(".")
        makers: dict[str, Callable[[], bytes]] = {
            "dxf": lambda: dxf_bytes(self._sheet(stem), self._fonts),
            "svg": lambda: self._svg(self._sheet(stem)),
            "glb": self._glb,
            "3mf": self._threemf,
            "pdf": self._order if name == ORDER_PDF else self._approval,
        }
        return makers.get(ending, lambda: self._picture(name))()

    def _order(self) -> bytes:
        return order_sheet(self.build, self.file(PRINT_PNG), self.options.paper).pdf()

    @cached_property
    def _sections(self) -> Sections:
        return build_sections(self.build)

    @cached_property
    def _drawing(self) -> Drawing:
        return drawing(self.build, self._sections, self.options.paper)

    @cached_property
    def _fonts(self) -> Fonts:
        return fonts_of(self.build.design)

    def _sheet(self, stem: str) -> Drawing:
        return self._templates[stem] if stem.startswith(TEMPLATES) else self._drawing

    def _svg(self, drawn: Drawing) -> bytes:
        sheet = drawn.sheet
        title = self._fonts.text(say("export.drawing-title", name=self.build.design.name))
        size_mm = (sheet.width_mm, sheet.height_mm)
        return svg_bytes(size_mm, drawn.entities, title, fonts=self._fonts)

    def _glb(self) -> bytes:
        pressed = {PASTRY: self.build.meshes[PASTRY]}
        return glb_bytes(assembled_parts(self.build) | pressed | _further_row(self.build))

    def _threemf(self) -> bytes:
        design = self.build.design
        piece = f"{design.portion.finished_weight_g:g} g"
        if design.portion.is_filled:
            piece += f", crust to filling {design.portion.ratio}"
        return threemf_bytes(
            printed_parts(self.build),
            bed_mm=design.printer.bed_mm,
            title=design.name,
            description=f"Mould for a pastry of {piece}; print in {design.printer.material}"
            + made_larger_text(self.build.mould.parts[0].pose.scale),
            thumbnail=self.file(PRINT_PNG),
        )

    def _approval(self) -> bytes:
        pictures = {name: self.file(name) for name in (TOP_PNG, RELIEF_PNG, PASTRY_PNG)}
        paper = self.options.paper
        return approval_sheet(self.build, pictures, paper=paper, fonts=self._fonts).pdf()

    def _picture(self, name: str) -> bytes:
        if name == RELIEF_PNG:
            return self._relief.png
        pastries = relief_pictures(self.build)
        if name in pastries:
            return self._plan(name, pastries[name]).png
        if name in self.height_maps:
            return heightmap_png(self.height_maps[name], self.build.design.name)
        if name in self.engravings:
            return engraving_png(self.engravings[name], self.build)
        return left_png(self.engravings[name.replace(f"{LEFT}.png", ".png")])

    @cached_property
    def _relief(self) -> ReliefPlan:
        return self._plan(RELIEF_PNG, self.build.pastry)

    def _plan(self, name: str, pastry: Pastry) -> ReliefPlan:
        # The picture's letters are the bundled font's.
        language = self._fonts.language if not self._fonts.files else LANGUAGES[0]
        design = self.build.design
        line_mm = design.printer.line_width_mm
        return relief_plan(
            pastry,
            line_mm=line_mm,
            language=language,
            read_mm=design.dough.read_widths_mm,
            face=None if pastry.carved is None else self._makers[face_name(name)](),
        )


def file_names(build: Build, options: ExportOptions) -> tuple[str, ...]:
    """Return the names of the files besides STL, report and design, in the order of writing.

    A card's pages as pictures follow it; how many there are is known once it is set.
    """
    names = {
        Format.STL: [],
        Format.STEP: [f"{stem}{STEP_END}" for stem, _ in _steps(build)],
        Format.DRAWING: ["drawing.dxf", "drawing.svg"],
        Format.GLB: ["set.glb"],
        Format.PICTURES: [
            *relief_pictures(build),
            PASTRY_PNG,
            PARTS_PNG,
            *further_pastry_scenes(build),
        ],
        Format.THREEMF: ["set.3mf"],
        Format.CARD: [CARD_HTML, CARD_PDF, *_orders(build)],
        Format.APPROVAL: [APPROVAL_PDF],
        Format.HEIGHTMAP: [f"{HEIGHTMAP}{end}.png" for end in mapped_pastries(build)],
        Format.ENGRAVING: [
            f"{ENGRAVING}{end}{kind}.png"
            for end in mapped_pastries(build)
            for kind in ("", *(() if options.cutter is None else (LEFT,)))
        ],
        Format.TEMPLATES: [
            f"{TEMPLATES}{end}.{kind}" for end in mapped_pastries(build) for kind in ("dxf", "svg")
        ],
    }
    return tuple(name for one in options.formats for name in names[one])


def _orders(build: Build) -> list[str]:
    """Return the order sheet where a service prints the parts."""
    return [] if build.design.printer.service is None else [ORDER_PDF]


def face_makers(build: Build | Shape, options: ExportOptions) -> Makers:
    """Return what makes the pictures of carved faces, which can be sent to another process."""
    return face_pictures(build) if SHOWING_RELIEF.intersection(options.formats) else {}


def sendable_makers(build: Build, options: ExportOptions) -> Makers:
    """Return what makes pictures and STEP files of solids; all can be sent to another process.

    They need nothing that was found.
    """
    wanted = Format.STEP in options.formats
    steps = {f"{stem}{STEP_END}": make for stem, make in _steps(build)} if wanted else {}
    pictures = {n: partial(picture_png, scene) for n, scene in scenes(build, options).items()}
    return pictures | steps


def in_order_of_making(names: Iterable[str]) -> tuple[str, ...]:
    """Return names with STEP files last: nothing else is made of them, and they take longest."""
    return tuple(sorted(names, key=lambda name: name.endswith(STEP_END)))


def _steps(build: Build) -> Iterator[tuple[str, Callable[[], StepFile]]]:
    """Yield the stem of each exact body's file, and what makes that."""
    height, stands = build.pastry.height_mm, "as it stands in the assembly"
    others = ", ".join(
        f"{one.stamp_name} with its face {one.pastry.height_mm - height:+.2f} mm higher"
        for one in build.further
    )
    blank = f"{NO_RELIEF}; the same blank serves {others}" if others else NO_RELIEF
    for part in build.mould.parts:
        for stem, draw, what in (
            (part.name, part.solid, stands),
            (f"{part.name}-blank", part.blank, blank),
        ):
            if draw is not None:
                said = f"{build.design.name}, {stem}, {what}"
                yield stem, partial(step_file, draw, name=stem, description=said)


def scenes(build: Build, options: ExportOptions) -> Mapping[str, Scene]:
    """Return the pictures that the files need, by the name of their file."""
    needed = {name for one in options.formats for name in SCENES_OF.get(one, ())}
    pastry = build.meshes[PASTRY]
    every = {
        PASTRY_PNG: pastry_scene(pastry),
        PARTS_PNG: parts_scene(build),
        PRINT_PNG: row_scene(printed_parts(build)),
        TOP_PNG: top_scene(pastry),
    }
    shows_further = {Format.PICTURES, Format.CARD} & set(options.formats)
    further = further_pastry_scenes(build) if shows_further else {}
    return {name: scene for name, scene in every.items() if name in needed} | dict(further)


def _further_row(build: Build) -> dict[str, Mesh]:
    """Return further stamps on their pastries, in a row to the right of the assembly [mm]."""
    step_mm = (1.0 + ROW_GAP) * float(build.mould.parts[0].mesh.size_mm[0])
    placed: dict[str, Mesh] = {}
    for number, one in enumerate(build.further, start=1):
        shift = (number * step_mm, 0.0, 0.0)
        placed[one.stamp_name] = in_float32(build.mould.part(one.stamp_name).mesh).moved(shift)
        placed[one.pastry_name] = build.meshes[one.pastry_name].moved(shift)
    return placed
