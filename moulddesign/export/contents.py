"""Which files a build is written as, and how each is made."""

from collections.abc import Callable, Iterator, Mapping
from functools import cached_property, partial
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from moulddesign.building import PASTRY, Build
from moulddesign.export.card import card_figures
from moulddesign.export.drawing import Cuts, Drawing, cuts, drawing, section_drawing, svg_bytes
from moulddesign.export.formats import NO_RELIEF, step_bytes
from moulddesign.export.glyphs import Faces, faces
from moulddesign.export.options import Format, Wanted
from moulddesign.export.pictures import (
    CAPTION,
    Artist,
    ReliefPlan,
    Scene,
    beside,
    exploded_scene,
    of_the_blank,
    pastry_scene,
    pastry_scenes,
    relief_plan,
    reliefs,
    row_scene,
)
from moulddesign.geometry import Mesh
from moulddesign.geometry.float32 import settled
from moulddesign.pastry.pastry import Pastry

if TYPE_CHECKING:
    from moulddesign.export.card import Card

PASTRY_PNG: Final = "pastry.png"
PARTS_PNG: Final = "parts.png"
PRINT_PNG: Final = "print.png"
RELIEF_PNG: Final = "relief.png"
CARD_PDF: Final = "card.pdf"

SHOWN: Final = MappingProxyType(
    {
        Format.PICTURES: (PASTRY_PNG, PARTS_PNG),
        Format.CARD: (PASTRY_PNG, PARTS_PNG, PRINT_PNG),
        Format.THREEMF: (PRINT_PNG,),
    }
)
"""Pictures that a format needs."""


class Contents:
    """The files of a build besides its STL, each made when it is asked for.

    Parameters
    ----------
    made : Build
        What is written; its findings and its list of files are whole.
    wanted : Wanted
        What is asked for.
    artist : Artist
        Draws what `scenes` returned.
    """

    # Each library is loaded by the file that needs it: a build without a card loads no typesetter.

    def __init__(self, made: Build, wanted: Wanted, artist: Artist) -> None:
        self.made = made
        self.wanted = wanted
        self.artist = artist

    def files(self) -> Iterator[tuple[str, Callable[[], bytes]]]:
        """Yield each file's name, and what returns its bytes."""
        for name in file_names(self.made, self.wanted):
            yield name, self._maker(name)
            if name == CARD_PDF:
                for number in range(len(self._card_pages)):
                    yield f"card-{number + 1}.png", partial(self._card_pages.__getitem__, number)

    def _maker(self, name: str) -> Callable[[], bytes]:
        ending = name.rpartition(".")[2]
        makers: dict[str, Callable[[], bytes]] = {
            "step": partial(self._step, name.removesuffix(".step")),
            "dxf": self._dxf,
            "svg": self._svg,
            "glb": self._glb,
            "png": partial(self._picture, name),
            "3mf": self._threemf,
            "pdf": self._card_pdf,
        }
        return makers[ending]

    def _picture(self, name: str) -> bytes:
        if name == RELIEF_PNG:
            return self._relief.png
        plans = reliefs(self.made)
        return self._plan(plans[name]).png if name in plans else self.artist.png(name)

    @cached_property
    def _relief(self) -> ReliefPlan:
        return self._plan(self.made.pastry)

    def _plan(self, pastry: Pastry) -> ReliefPlan:
        return relief_plan(pastry, line_mm=self.made.design.printer.line_width_mm)

    def _step(self, name: str) -> bytes:
        whole = {part.name: part.solid for part in self.made.mould.parts}
        blanks = {f"{part.name}-blank": part.blank for part in self.made.mould.parts}
        solid = (whole | blanks)[name]
        assert solid is not None  # noqa: S101 (only names of bodies that exist are given)
        blank = f"{NO_RELIEF}{of_the_blank(self.made)}"
        what = blank if name in blanks else "as it stands in the assembly"
        return step_bytes(solid, name=name, description=f"{self.made.design.name}, {name}, {what}")

    @cached_property
    def _cuts(self) -> Cuts:
        return cuts(self.made)

    @cached_property
    def _drawn(self) -> Drawing:
        return drawing(self.made, self._cuts, self.wanted.paper)

    def _dxf(self) -> bytes:
        from moulddesign.export.dxf import dxf_bytes  # noqa: PLC0415 (see above)

        return dxf_bytes(self._drawn, self._faces)

    def _svg(self) -> bytes:
        sheet = self._drawn.sheet
        title = f"{self.made.design.name}: pastry and mould"
        return svg_bytes(
            (sheet.width_mm, sheet.height_mm), self._drawn.inks, title, faces=self._faces
        )

    def _glb(self) -> bytes:
        from moulddesign.export.formats import glb_bytes  # noqa: PLC0415 (see above)

        pressed = {PASTRY: self.made.meshes[PASTRY]}
        return glb_bytes(assembled(self.made) | pressed | beside(self.made))

    def _threemf(self) -> bytes:
        from moulddesign.export.formats import threemf_bytes  # noqa: PLC0415 (see above)

        design = self.made.design
        piece = f"{design.portion.finished_weight_g:g} g, crust to filling {design.portion.ratio}"
        return threemf_bytes(
            printed(self.made),
            bed_mm=design.printer.bed_mm,
            title=design.name,
            description=f"Mould for a filled pastry of {piece}; print in {design.printer.material}",
            thumbnail=self.artist.png(PRINT_PNG),
        )

    def _card_pdf(self) -> bytes:
        return self._card.pdf()

    @cached_property
    def _card_pages(self) -> tuple[bytes, ...]:
        return self._card.pngs()

    @cached_property
    def _card(self) -> "Card":
        from moulddesign.export.card import Card  # noqa: PLC0415 (see above)

        section = svg_bytes(*section_drawing(self.made, self._cuts), "section", faces=self._faces)
        pictures = {name: self._picture(name) for name in (*SHOWN[Format.CARD], RELIEF_PNG)}
        others = enumerate(pastry_scenes(self.made))
        pictures |= {f"other-{number}.png": self._picture(name) for number, name in others}
        figures = card_figures(self.made, self.wanted.recipe)
        figures |= {"relief": list(self._relief.said), "caption": CAPTION}
        return Card(
            figures=figures,
            pictures=pictures | {"section.svg": section},
            paper=self.wanted.paper,
            faces=self._faces,
        )

    @cached_property
    def _faces(self) -> Faces:
        return faces(self.made.design)


def file_names(made: Build, wanted: Wanted) -> tuple[str, ...]:
    """Return the names of the files besides STL, report and design, in the order of writing.

    A card's pages as pictures follow it; how many there are is known once it is set.
    """
    names = {
        Format.STL: [],
        Format.STEP: [f"{name}.step" for name in _bodies(made)],
        Format.DRAWING: ["drawing.dxf", "drawing.svg"],
        Format.GLB: ["set.glb"],
        # The reliefs first: another process draws the others meanwhile.
        Format.PICTURES: [*reliefs(made), PASTRY_PNG, PARTS_PNG, *pastry_scenes(made)],
        Format.THREEMF: ["set.3mf"],
        Format.CARD: [CARD_PDF],
    }
    return tuple(name for kind in wanted.formats for name in names[kind])


def scenes(made: Build, wanted: Wanted) -> Mapping[str, Scene]:
    """Return the pictures that the wanted files need, by the name of their file."""
    needed = {name for kind in wanted.formats for name in SHOWN.get(kind, ())}
    pastry = made.meshes[PASTRY]
    every = {
        PASTRY_PNG: pastry_scene(pastry),
        PARTS_PNG: exploded_scene(assembled(made), pastry),
        PRINT_PNG: row_scene(printed(made)),
    }
    further = pastry_scenes(made) if {Format.PICTURES, Format.CARD} & set(wanted.formats) else {}
    return {name: scene for name, scene in every.items() if name in needed} | dict(further)


def printed(made: Build) -> dict[str, Mesh]:
    """Return the parts to print, as they lie on the bed."""
    return {part.name: made.meshes[part.name] for part in made.mould.parts}


def assembled(made: Build) -> dict[str, Mesh]:
    """Return the parts that go together as they stand in the assembly."""
    return {part.name: settled(part.mesh) for part in made.mould.assembled}


def _bodies(made: Build) -> Iterator[str]:
    for part in made.mould.parts:
        if part.solid is not None:
            yield part.name
        if part.blank is not None:
            yield f"{part.name}-blank"
