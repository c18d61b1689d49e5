"""Small forms that work out one figure: density by cup, firmness, a printer's error, syrup."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from moulddesign.core import MouldError
from moulddesign.design import TRADE, Table, given
from moulddesign.kitchen.syrup import (
    ALTITUDES_M,
    BOILS_AT_C,
    LEAST_SOLIDS,
    LEAST_SUGAR_G,
    MOST_SOLIDS,
    MOST_SUGAR_G,
)
from moulddesign.page.draft import Draft, Tree, all_fields, form_sections, parse_input
from moulddesign.page.form_schema import FormSchema
from moulddesign.page.markup import (
    FormElement,
    button,
    element,
    html_area,
    paragraph,
    set_enabled,
    text_element,
)


class GaugeReading(Table):
    """What the gauge of `coupon` shows."""

    ring: int = given(..., "Tightest ring that the key slides through by itself", ge=0, main=True)
    slot: int = given(..., "Tightest slot that its foot goes into without force", ge=0, main=True)


class CupReading(Table):
    """A cup, weighed full of water and full of dough."""

    cup_empty_g: float = given(
        0.0, "Empty cup; 0 where the scale was set to zero", unit="g", ge=0, le=10_000, main=True
    )
    cup_water_g: float = given(
        ..., "Cup full of water, levelled", unit="g", gt=0, le=10_000, main=True
    )
    cup_filled_g: float = given(
        ..., "Cup packed with dough or paste", unit="g", gt=0, le=10_000, main=True
    )


class PlateReading(Table):
    """A ball of dough, pressed flat between two plates."""

    ball_g: float = given(..., "Mass of the ball", unit="g", gt=0, le=10_000, main=True)
    load_g: float = given(
        ..., "What rests on it, with the upper plate", unit="g", gt=0, le=100_000, main=True
    )
    flat_mm: float = given(..., "Its height after 60 s of load", unit="mm", gt=0, le=400, main=True)


class SyrupReading(Table):
    """A pot of sugar, acid and water, boiled down to a syrup."""

    sugar_g: float = given(
        ..., "Sugar that goes into the pot", unit="g", ge=LEAST_SUGAR_G, le=MOST_SUGAR_G, main=True
    )
    solids: float = given(
        0.8, "Share of the syrup that is not water when it is done", source=TRADE,
        ge=LEAST_SOLIDS, le=MOST_SOLIDS, main=True,
    )  # fmt: skip
    acid_g: float = given(
        0.0, "Dry acid, such as citric; of lemon juice about 8 g in 100 g", unit="g", ge=0,
        le=1e6, main=True,
    )  # fmt: skip
    inverted: float | None = given(
        None, "Share of the sugar that acid has split; any where acid is given and this is not",
        ge=0, le=1, main=True,
    )  # fmt: skip
    boiling_c: float | None = given(
        None, "Where water boils in this kitchen by the same thermometer; else by the altitude",
        unit="deg C", ge=BOILS_AT_C[0], le=BOILS_AT_C[1], main=True,
    )  # fmt: skip
    altitude_m: float = given(
        0.0, "Height of the kitchen above the sea", unit="m", ge=ALTITUDES_M[0],
        le=ALTITUDES_M[1], main=True,
    )  # fmt: skip
    pot_g: float | None = given(
        None, "What is in the pot now, without the pot: gives its solids", unit="g", gt=0, le=1e7,
        main=True,
    )  # fmt: skip


Found = tuple[Tree, str]
"""Values by key, and what is said of them."""


class FigureHelp:
    """A folded form that works a figure out as one types, and buttons that take it."""

    def __init__(
        self,
        schema: FormSchema,
        model: type[Table],
        *,
        name: str,
        title: str,
        says: str,
        compute: Callable[[Any], Found],
    ) -> None:
        self.schema, self.model, self.name = schema, model, name
        self.title, self.says, self.compute = title, says, compute
        self.draft = Draft({}, model)
        self.sections = form_sections(model.model_json_schema())
        self.fields = {field.path: field for field in all_fields(self.sections)}
        self.found: Tree = {}

    def lay_out(self, takes: Mapping[str, Callable[[Tree], None]]) -> None:
        """Make the form; `takes` are the labels of the buttons and what each does."""
        words = self.schema.words
        defaults = {path: field.default for path, field in self.fields.items()}
        with element("details", "figure-help", id=f"help-{self.name}"):
            text_element("summary", self.title)
            text_element("p", self.says)
            self.form = FormElement(
                sections=[self.schema.section(section) for section in self.sections],
                texts={key: words[key] for key in ("less", "more", "own_file_chosen", "own_file",
                                                   "remove", "advanced")},
                start={"values": defaults, "counts": {}, "errors": {}},
                prefix=self.name,
            )  # fmt: skip
            self.form.on("edit", lambda event: self._edited(*event.args))
            self.answer = html_area("found")
            self.answer._props["role"] = "status"  # noqa: SLF001
            with element("p", "actions"):
                self.buttons = [
                    button(label, partial(self._take, take)) for label, take in takes.items()
                ]
        self._show({}, "")

    def _take(self, take: Callable[[Tree], None]) -> None:
        if self.found:
            take(self.found)

    def _edited(self, path: str, typed: object, _refused: str | None = None) -> None:
        self.draft.set_value(path, parse_input(self.fields[path], typed))
        words = self.schema.words
        self.form.set_errors({})
        tree = self.draft.tree
        needed = [p for p, f in self.fields.items() if f.default is None and not f.optional]
        if any(tree.get(path) in (None, "") for path in needed):
            self._show({}, "")  # still to be typed
            return
        try:
            found, says = self.compute(self.model.of(tree))
        except MouldError as error:
            self._show({}, paragraph(words.error(error), "error"))
            return
        self._show(found, paragraph(words.numbers(says)))

    def _show(self, found: Tree, html: str) -> None:
        self.found = found
        self.answer.set_content(html)
        for each in self.buttons:
            set_enabled(each, can=bool(found))
