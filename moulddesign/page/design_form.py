"""The form of the design: what is typed becomes a draft, and a valid draft is built."""

import asyncio
from collections.abc import Callable, Mapping
from copy import deepcopy
from dataclasses import replace
from functools import cache, partial
from itertools import count
from typing import Any, Final

from moulddesign.artwork.bundled_patterns import pattern_names, titles
from moulddesign.core import (
    LANGUAGES,
    FileError,
    Message,
    MouldError,
    SpecError,
)
from moulddesign.design import (
    DESIGN_FILE,
    OUTLINES,
    SOURCES,
    Design,
    Kind,
    Motif,
    Workshop,
    crusts,
    fillings,
    free_values,
    library,
    parse_tables,
    with_changed_workshop,
    with_workshop,
)
from moulddesign.design.face_tables import face_names
from moulddesign.design.services import SERVICE
from moulddesign.kitchen.firmness import yield_stress
from moulddesign.page.choices import (
    SHARES,
    centre_names,
    choice_options,
    chosen,
    errors_of_choices,
    with_choice,
    with_free_lettering,
)
from moulddesign.page.design_files import (
    refuse_unknown_files,
    with_upload_names,
    without_missing_files,
)
from moulddesign.page.draft import (
    Draft,
    FormSection,
    all_fields,
    as_shown,
    field_of_error,
    flattened,
    form_sections,
    parse_input,
    table_at,
    values_of_kind,
    with_source,
    without_indexes,
)
from moulddesign.page.face_entries import with_face_entry
from moulddesign.page.figure_help import CupReading, FigureHelp, Found, PlateReading
from moulddesign.page.form_schema import FormSchema
from moulddesign.page.jobs import PieceFigures
from moulddesign.page.markup import ChoicesElement, FormElement, text_element
from moulddesign.page.session import Session
from moulddesign.page.texts import Texts
from moulddesign.page.uploads import UPLOAD_KINDS
from moulddesign.portion import density_from_cup, foods

FORM_TEXTS: Final = (
    "decimal", "colon", "with_unit", "less", "more", "own_file_chosen", "own_file", "remove",
    "advanced",
)  # fmt: skip
CHOICE_TEXTS: Final = (
    "choose_weight", "choose_share", "choose_outline", "choose_top", "choose_around",
    "choose_kind", "choose_centre", "choose_dough", "share_of_crust", "share_and_crust",
    "around_of_face", "centre_grams", "centres_several", "decimal", "colon", "less", "more",
    "own_file_chosen",
)  # fmt: skip
CHOICE_FIELDS: Final = {
    "weight": "portion.finished_weight_g",
    "centre_g": "portion.centres.mass_g",
}
"""Choices that are typed, and the fields of the design that read them."""
BATCH_TABLES: Final = frozenset({"batch", "bake_day", "price"})
"""Tables that another task asks for."""


@cache
def design_sections() -> tuple[FormSection, ...]:
    """Return the tables of a design; what a mould that exists has is another task's."""
    return tuple(
        replace(section, fields=tuple(f for f in section.fields if f.kinds != (Kind.OWN.value,)))
        for section in form_sections(Design.model_json_schema())
    )


CENTRE_NAME: Final = "portion.centres.name"
"""Shown, offered and taken in the page's language where it is a food's."""


class DesignForm:
    """The design's form, undo and redo."""

    def __init__(self, session: Session, words: Texts, on_change: Callable[[], None]) -> None:
        self.session = session
        self.words = words
        self.on_change = on_change
        self.draft = Draft(session.design.plain(), Design)
        self.errors: dict[str, str] = {}
        self.build_errors: dict[str, str] = {}
        self.elements: list[FormElement] = []
        self.choices: ChoicesElement | None = None
        self.piece: PieceFigures | None = None
        self._choice_serial = 0
        self._typed: dict[str, tuple[str, object]] = {}
        """What was typed into fields, and the values that it stands for."""
        self._first_name = self.draft.tree.get("name")
        self.schema = FormSchema(
            words=words,
            choices=_choices(words),
            pictures=frozenset({"relief.layers.pattern"}),
            suggestions={
                CENTRE_NAME: tuple(map(words.food, centre_names())),
                "crust_lines.food": tuple(foods()),
                "filling_lines.food": tuple(foods()),
            },
        )
        self.fields = {field.path: field for field in all_fields(design_sections())}

    def lay_out_choices(self) -> None:
        """Make the few choices of the first screen."""
        accepted = UPLOAD_KINDS["artwork"].endings
        own = {
            "share": SHARES,
            "top": {
                "kind": "artwork",
                "accept": ",".join(f".{ending}" for ending in accepted),
                "label": self.words["own_picture"],
            },
        }
        self.choices = ChoicesElement(
            options=choice_options(self.words),
            texts={key: self.words[key] for key in CHOICE_TEXTS},
            start=self._choices_state(),
            own=own,
        )
        self.choices.on("choose", lambda event: self._chosen(*event.args))

    def show_piece(self, piece: PieceFigures) -> None:
        """Show how thick the crust of a piece is."""
        self.piece = piece
        crust = piece.crust_mm
        says = "" if crust is None else self.words["share_crust"].format(mm=f"{crust:.1f}")
        if self.choices is not None:
            self.choices.set_crust(self.words.numbers(says))

    def choose_share(self, percent: float) -> None:
        """Take a share of crust [%] that was set beside the cut."""
        self._chosen("share", percent, None, self._choice_serial)

    def _chosen(self, what: str, value: object, refused: str | None, serial: int) -> None:
        self._choice_serial = serial
        if refused is not None:
            self.errors = {"relief.layers": self.words.upload_error(refused)}
            self._show_errors()
            return
        if what in CHOICE_FIELDS:
            value = self._parsed(CHOICE_FIELDS[what], str(value))
        tree = with_choice(self.draft.tree, what, value, self.piece)
        if what == "top" and tree.get("name") == self._first_name:
            tree.pop("name", None)  # the name that the page came with says another face
        if tree == self.draft.tree:  # said again when the field is left: work goes on
            self._show_choices()
            return
        self.draft.replace(tree)
        self._validate(refill=True)

    def _parsed(self, path: str, typed: object) -> object:
        value = parse_input(self.fields[without_indexes(path)], typed)
        if without_indexes(path) == CENTRE_NAME:
            value = self._food_called(str(value))
        if isinstance(typed, str):
            self._typed[path] = (typed, value)
        return value

    def _food_called(self, typed: str) -> str:
        """Return the food that is called so in the page's language, or the name as it was typed."""
        before = [centre.name for centre in self.session.design.portion.centres]
        named = (name for name in (*before, *centre_names()) if self.words.food(name) == typed)
        return next(named, typed)

    def _as_typed(self, path: str, value: object) -> object:
        """Return what was typed for a value, comma and unit as they were, or the value as shown."""
        text, parsed = self._typed.get(path, ("", None))
        if parsed == value and value is not None:
            return text
        called = without_indexes(path) == CENTRE_NAME
        return self.words.food(str(value)) if called else as_shown(value)

    def _choices_state(self) -> dict[str, Any]:
        state = chosen(self.draft.tree, self.session.design) | {"serial": self._choice_serial}
        weight_g = self.draft.tree.get("portion", {}).get("finished_weight_g")
        typed = self._as_typed(CHOICE_FIELDS["weight"], weight_g)
        if isinstance(typed, str):
            state["weight"] = typed
        state["centre_label"] = self.words.food(state["centre"])
        return {
            "state": state,
            "errors": errors_of_choices(self._all_errors),
        }

    def lay_out(self) -> None:
        """Make the form, but for the tables that another task asks for."""
        text_element("h2", self.words["design"], "first")
        shown = [s for s in design_sections() if s.name not in BATCH_TABLES]
        after = next(n for n, s in enumerate(shown) if s.name == "portion") + 1
        self._add_form(shown[:after], "design")
        self._offer_measures()
        self._add_form(shown[after:], "design")

    def _offer_measures(self) -> None:
        """Offer to measure densities and firmness, where their figures are used."""
        words = self.words
        FigureHelp(
            self.schema, CupReading, name="cup", title=words["cup"], says=words["cup_help"],
            compute=self._cup,
        ).lay_out(
            {
                words["take_crust"]: partial(self._take_density, "crust"),
                words["take_paste"]: partial(self._take_density, "filling"),
            }
        )  # fmt: skip
        FigureHelp(
            self.schema, PlateReading, name="plate", title=words["plate"],
            says=words["plate_help"], compute=self._plate,
        ).lay_out({words["take_yield"]: self.change})  # fmt: skip

    def _cup(self, reading: CupReading) -> Found:
        found = density_from_cup(
            empty_g=reading.cup_empty_g, water_g=reading.cup_water_g,
            filled_g=reading.cup_filled_g, resolution_g=self.session.design.scale.resolution_g,
        )  # fmt: skip
        density, sd = f"{found.density_g_per_ml:.3f}", f"{found.uncertainty_g_per_ml:.3f}"
        values = {"density_g_per_ml": float(density), "density_sd_g_per_ml": float(sd)}
        return values, self.words["cup_says"].format(density=density, sd=sd)

    def _take_density(self, part: str, found: Mapping[str, Any]) -> None:
        self.change({f"portion.{part}_{key}": value for key, value in found.items()})

    def _plate(self, reading: PlateReading) -> Found:
        density = self.session.design.portion.crust_density.g_per_ml
        found = yield_stress(
            dough_ml=reading.ball_g / density, load_g=reading.load_g, height_mm=reading.flat_mm
        )
        says = self.words["plate_says"].format(
            kpa=f"{found.kpa:.2f}", least=f"{found.least_kpa:.2f}", most=f"{found.most_kpa:.2f}"
        )
        return {"portion.crust_yield_kpa": round(found.kpa, 3)}, says

    def lay_out_batch(self) -> None:
        """Make the form of the tables that the batch asks for."""
        self._add_form([s for s in design_sections() if s.name in BATCH_TABLES], "batch")

    def _add_form(self, found: list[Any], prefix: str) -> None:
        form = FormElement(
            sections=[self.schema.section(section) for section in found],
            texts={key: self.words[key] for key in FORM_TEXTS},
            start=self._state(),
            prefix=prefix,
        )
        form.on("edit", lambda event: self._edited(*event.args))
        form.on("add", lambda event: self._added(event.args[0]))
        form.on("remove", lambda event: self._removed(*event.args))
        form.on("source", lambda event: self._source_chosen(*event.args))
        self.elements.append(form)

    def _show_errors(self) -> None:
        for form in self.elements:
            form.set_errors(self._all_errors)
        self._show_choices()

    def _show_choices(self) -> None:
        if self.choices is not None:
            self.choices.set_state(**self._choices_state())

    @property
    def _all_errors(self) -> dict[str, str]:
        """What is wrong with the draft, and with the last design that was built."""
        return self.build_errors | self.errors

    def undo(self) -> None:
        """Undo the last change."""
        if self.draft.can_undo:
            self.draft.undo()
            self._validate(refill=True)

    def redo(self) -> None:
        """Redo the change that was undone last."""
        if self.draft.can_redo:
            self.draft.redo()
            self._validate(refill=True)

    def reset(self) -> None:
        """Begin with the default design and the workshop's values; that can be undone."""
        try:
            self.replace(fresh_design(Design(), self.session.workshop(), self.words.language))
        except MouldError as error:
            self.session.page.show_notice(error)

    def replace(self, design: Design) -> None:
        """Take another design; that can be undone."""
        self.draft.replace(design.plain())
        self._validate(refill=True)

    def follow_workshop(self) -> None:
        """Take a changed workshop's values where the design has no others; that can be undone."""
        try:
            design = Design.of(values_of_kind(self.draft.tree))
        except MouldError:  # its fields say what is wrong with it
            return
        self.replace(with_changed_workshop(design, self.session.workshop()))

    def change(self, values: Mapping[str, Any]) -> None:
        """Change values of the draft, by dotted paths; that can be undone."""
        for path, value in values.items():
            self.draft.set_value(path, value)
        self._validate(refill=True)

    async def load(self, text: str, names: Mapping[str, str]) -> None:
        """Take the design in the text of a file, whose drawings were uploaded under other names."""
        try:  # a file may take seconds to be refused; other tabs go on meanwhile
            design, notes = await asyncio.to_thread(self._read_design, text, names)
        except MouldError as error:
            self.session.page.show_notice(error)
            return
        self.replace(design)
        for note in notes:
            self.session.page.show_note(note)

    def _read_design(self, text: str, names: Mapping[str, str]) -> tuple[Design, list[Message]]:
        workshop = self.session.workshop()

        def made(plain: dict[str, Any]) -> tuple[Design, list[Message]]:
            named = with_upload_names(plain, names)
            uploads = self.session.uploads
            tree, gone = without_missing_files(named, Design, known=known_names(), uploads=uploads)
            design, notes = Design.of_file(tree)
            free = free_values(workshop, design, ())
            return with_workshop(design, free, ()), [*notes, *([] if gone is None else [gone])]

        try:
            return parse_tables(text.removeprefix("\ufeff"), DESIGN_FILE, Design, made)
        except FileError as error:
            raise SpecError("file", "the upload", error.reason) from error

    def show_build_error(self, error: MouldError | None) -> None:
        """Show an error of a build at its field, or remove the last one.

        Errors of the draft stay: it was typed while the design before it was built.
        """
        self.build_errors = {} if error is None else self._errors_by_field(error)
        self._show_errors()

    def _edited(self, path: str, typed: object, refused: str | None = None) -> None:
        if refused is not None:
            self.errors = {path: self.words.upload_error(refused)}
            self._show_errors()
            return
        before = set(flattened(self.draft.tree)[0])
        self.draft.set_value(path, self._parsed(path, typed))
        gone = before - set(flattened(self.draft.tree)[0]) - {path}
        self._validate(refill=bool(gone) or path == "mould.kind")  # another kind shows other fields

    def _added(self, path: str) -> None:
        self.draft.add(path, self._new(path))
        self._validate(refill=True)

    def _new(self, path: str) -> dict[str, Any]:
        """Return what a new entry of a list holds at first."""
        layer = {SOURCES[0]: pattern_names()[0]}
        if path == "further_stamps":
            taken = {stamp.get("name") for stamp in self.draft.tree.get(path, ())}
            number = next(n for n in count(2) if str(n) not in taken)
            return {"name": str(number), "layers": [layer]}
        return layer if path.endswith(".layers") else {}

    def _removed(self, path: str, place: int) -> None:
        self.draft.remove(path, place)
        self._validate(refill=True)

    def _source_chosen(self, path: str, source: str) -> None:
        first = {"pattern": pattern_names()[0], "motif": next(iter(Motif)).value}
        tree = with_source(self.draft.tree, path, source, first.get(source, "Text"))
        if source == "text":
            tree = with_free_lettering(tree, path, self.piece)
        self.draft.replace(tree)
        self._validate(refill=True)

    def move_layer(self, values: Mapping[str, Any]) -> None:
        """Lay a layer of the relief elsewhere, as the view moved it; one step to undo.

        `values` are its place among the layers and its keys; a size of None stays as it is.
        """
        tree = deepcopy(self.draft.tree)
        layers = tree.get("relief", {}).get("layers", [])
        if values["place"] < len(layers):
            moved = {key: value for key, value in values.items() if key != "place"}
            layers[values["place"]] |= {k: v for k, v in moved.items() if v is not None}
            self.draft.replace(tree)
            self._validate(refill=True)

    def change_face(self, change: Mapping[str, Any]) -> None:
        """Change a number or the content of what was tapped on a carved face."""
        face = self.session.design.face
        if face is not None and self.draft.tree.get("face") is not None:
            self.draft.replace(with_face_entry(self.draft.tree, face, change))
            self._validate(refill=True)

    def _validate(self, *, refill: bool) -> None:
        """Ask for the draft if it is a valid design; else show at its field what is wrong."""
        self.errors = {}
        try:
            tree = values_of_kind(self.draft.tree)
            self._refuse_unknown_files(tree)
            design = Design.of(tree)
        except MouldError as error:  # a library that is named may be damaged
            self.errors = self._errors_by_field(error)
        else:
            self.build_errors = {}
            self.session.request(design)
        self.on_change()
        if refill:
            state = self._state()
            for form in self.elements:
                form.set_state(state)
            self._show_choices()
        else:
            self._show_errors()

    def _refuse_unknown_files(self, tree: Mapping[str, Any]) -> None:
        refuse_unknown_files(tree, Design, known=known_names(), uploads=self.session.uploads)

    def _errors_by_field(self, error: MouldError) -> dict[str, str]:
        """Return what is wrong, at the field that it belongs to."""
        path = field_of_error(error, self.draft.tree, self.fields)
        return {} if path is None else {path: self.words.need(error)}

    def _state(self) -> dict[str, Any]:
        values, counts = flattened(self.draft.tree)
        for path in [path for path in counts if path.endswith(".layers")]:
            for place, layer in enumerate(table_at(self.draft.tree, path.split("."))):
                source = next((name for name in SOURCES if name in layer), "")
                values[f"{path}.{place}.source"] = source
        for path, field in self.fields.items():
            values.setdefault(path, field.default if not field.optional else None)
        values = {path: self._as_typed(path, value) for path, value in values.items()}
        return {"values": values, "counts": counts, "errors": self._all_errors}


@cache
def fresh_design(default: Design, shop: Workshop, language: str) -> Design:
    """Return a default design with a workshop's values, its sheets in the page's language."""
    design = with_changed_workshop(default, shop)
    if design.language is not None or language == LANGUAGES[0]:
        return design
    return design.with_values({"language": language})


def known_names() -> frozenset[str]:
    """Return the outlines and patterns that have a name: they are no files."""
    return frozenset({*OUTLINES, *pattern_names()})


def _choices(words: Texts) -> Mapping[str, tuple[tuple[str, str], ...]]:
    """Return the words that text fields take, where the schema leaves them open."""
    # Most materials are called by their short names in every language.
    called = words.tables["labels"]
    materials = tuple((name, called.get(name, name)) for name in library(None).materials)
    return {
        "pastry.outline": tuple((name, words.word(name)) for name in OUTLINES),
        "relief.layers.pattern": tuple((t.name, words.word(t.name)) for t in titles()),
        "outline": tuple((name, words.word(name)) for name in OUTLINES),
        "new_pattern": tuple((t.name, words.word(t.name)) for t in titles()),
        "new_face": tuple((name, words.word(name)) for name in face_names()),
        "portion.crust_dough": tuple((name, words.word(f"{name} dough")) for name in crusts()),
        "portion.filling_paste": tuple((name, words.word(f"{name} paste")) for name in fillings()),
        "printer": tuple((name, name) for name in library(None).machines),
        "material": materials,
        "printer.machine": tuple(
            (name, words.word(name) if name == SERVICE else name) for name in library(None).machines
        ),
        "printer.material": materials,
    }
