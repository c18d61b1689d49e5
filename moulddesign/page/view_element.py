"""The 3D view as an element of the page: its words, its look, and what it is told."""

from pathlib import Path
from typing import Any, Final

from nicegui import ui

from moulddesign.artwork.bundled_patterns import pattern_names
from moulddesign.design import Motif
from moulddesign.design.face_tables import Figure, Fill, Tip
from moulddesign.page.choices import SHARES
from moulddesign.page.texts import Texts
from moulddesign.render import shading
from moulddesign.render.baked_map import LAMP, LEAST_PENUMBRA_MM, PENUMBRA

SCENE: Final = Path(__file__).parent / "scene"

VIEW_TEXTS: Final = (
    "decimal", "view_label", "view_help", "views", "view_piece", "view_cut", "view_parts",
    "view_open", "reset_view", "nearer", "farther", "crust", "first_picture", "parts_follow",
    "no_webgl", "cut_crust", "cut_filling", "cut_centre", "cut_wide", "cut_high", "cut_thin_paste",
    "cut_place", "cut_middle", "cut_before", "cut_behind", "choose_share", "share_of_crust",
    "part_shown", "all_parts",
    "layer_turn", "layer_scale", "layer_number_x", "layer_number_y", "layer_number_turn",
    "layer_number_size", "layer_done", "layer_centred", "layer_on_axis", "layer_collides",
    "layer_past_rim", "layer_hidden", "layer_help", "face_help", "face_bands", "face_crowns",
    "face_medallion", "face_parts", "face_width_mm", "face_width_ratio", "face_radius_ratio",
    "face_length_ratio", "face_count", "face_beads", "face_copies", "face_fill", "face_tip",
    "face_figure", "face_text", "face_pattern", "face_nothing",
)  # fmt: skip

PARTS: Final = (
    "sleeve", "stamp", "plunger", "stop", "shim-0.4", "shim-0.8", "shim-1.6", "block", "master",
)  # fmt: skip
"""Names of parts, or words with which they begin."""

CONTENTS: Final = (*Fill, *Tip, *Figure)
"""Words of what a carved face is made of."""

CUT_COLOURS: Final = {
    "rind": "#c08236", "pastry": "#ecc284", "filling": "#70422a", "centre": "#dc8a35",
}  # fmt: skip
"""Of cut faces, as CSS writes them."""

LOOK: Final[dict[str, Any]] = {
    "lamp": list(LAMP),
    "penumbra": PENUMBRA,
    "leastPenumbra": LEAST_PENUMBRA_MM,
    "fill": list(shading.FILL),
    "ramp": [[level, list(colour)] for level, colour in shading.RAMP],
    "lampColour": list(shading.LAMP_COLOUR),
    "skyColour": list(shading.SKY_COLOUR),
    "fillColour": list(shading.FILL_COLOUR),
    "sheen": list(shading.CRUST_SHEEN),
    "warm": list(shading.WARM),
    "plasterWarm": list(shading.PLASTER_WARM),
    "steep": shading.STEEP,
    "gamma": shading.GAMMA,
    "cut": CUT_COLOURS,
}
"""The numbers of `render`, so that page and pictures look alike."""


class View3D(ui.element, component="view3d.js", esm={"moulddesign-scene": str(SCENE)}):
    """The pastry and its mould in 3D."""

    def __init__(self, words: Texts) -> None:
        super().__init__()
        texts = {key: words[key] for key in VIEW_TEXTS}
        names = {name: words.word(name) for name in (*pattern_names(), *Motif, *PARTS, *CONTENTS)}
        self._props.update(
            texts=texts, names=names, look=LOOK, language=words.language, shares=SHARES
        )

    def show(self, address: str, serial: int, *, stage: str) -> None:
        """Draw what lies at an address: the pastry first, then the mould beside it."""
        self.run_method("show", address, serial, stage)

    def resize(self, width_mm: float, height_mm: float) -> None:
        """Draw the pastry that is shown in another size, until the true one comes [mm]."""
        self.run_method("resize", width_mm, height_mm)

    def set_piece(self, percent: float | None, names: dict[str, str]) -> None:
        """Show which share of the piece is crust [%], None where it is all of one dough.

        `names` are the centres' in the page's language.
        """
        self.run_method("setPiece", percent, names)

    def show_place(self, place: dict[str, Any]) -> None:
        """Show a place: `at`, `layer`, `cut` or `part` of `shown_place`, with the `title` of it."""
        self.run_method("showPlace", place)

    def show_picture(self, address: str, serial: int) -> None:
        """Show a picture, where nothing can be drawn in 3D."""
        self.run_method("showPicture", address, serial)
