"""The workshop's own place on the page: asked once, kept where the command line keeps it."""

from collections.abc import Callable
from typing import Any

from moulddesign.core import MouldError, SpecError
from moulddesign.design import (
    IN_DESIGN,
    Design,
    Workshop,
    gauge_error_mm,
    read_workshop,
    save_workshop,
    workshop_path,
)
from moulddesign.page.design_form import DesignForm
from moulddesign.page.draft import Tree
from moulddesign.page.figure_help import FigureHelp, GaugeReading
from moulddesign.page.markup import html_area, paragraph, text_element
from moulddesign.page.session import Session
from moulddesign.page.task_form import TaskForm

OF_DESIGN = {dotted: key for key, dotted in IN_DESIGN.items()}


class WorkshopForm(TaskForm):
    """The form of the workshop: whatever is right is kept at once."""

    def __init__(
        self, session: Session, design_form: DesignForm, changed: Callable[[Workshop], None]
    ) -> None:
        super().__init__(session, design_form.schema, Workshop, values=read_workshop().plain())
        self.changed = changed

    def _edited(self, path: str, typed: object, refused: str | None = None) -> None:
        super()._edited(path, typed, refused)
        self.keep()

    def keep(self) -> None:
        """Write the workshop if it can be one, and tell."""
        try:
            shop = Workshop.of(self.draft.tree)
            save_workshop(shop)
        except MouldError as error:
            self.form.set_errors(self._errors_by_field(_at_own_field(error)))
        else:
            self.changed(shop)


def _at_own_field(error: MouldError) -> MouldError:
    """Return an error of the design that was tried, at the workshop's field."""
    if isinstance(error, SpecError) and error.field in OF_DESIGN:
        return SpecError(OF_DESIGN[error.field], error.value, error.need)
    return error


class WorkshopPlace:
    """The form, what follows from the printer, and the reading of the gauge."""

    def __init__(self, session: Session, design_form: DesignForm) -> None:
        self.session = session
        self.design_form = design_form
        self.words = design_form.words

    def lay_out(self) -> None:
        """Make the form and what is said beside it."""
        words = self.words
        text_element("h2", words["workshop"], "first")
        text_element("p", words["workshop_help"])
        try:
            self.form = WorkshopForm(self.session, self.design_form, self._changed)
        except MouldError as error:
            html_area().set_content(paragraph(words.error(error), "error"))
            return
        self.form.add_form("workshop")
        self.printer = text_element("p", "", "help", role="status")
        FigureHelp(
            self.design_form.schema,
            GaugeReading,
            name="gauge",
            title=words["gauge"],
            says=words["gauge_help"],
            compute=self._gauge,
        ).lay_out({words["take_error"]: self._take_error})
        text_element("p", words["workshop_lies"].format(path=workshop_path()), "help")
        self._say_printer(read_workshop())

    def _changed(self, shop: Workshop) -> None:
        self._say_printer(shop)
        self.design_form.follow_workshop()

    def _say_printer(self, shop: Workshop) -> None:
        machine = {} if shop.printer is None else {"printer.machine": shop.printer}
        library = {} if shop.library is None else {"printer.library": shop.library}
        table = Design().with_values(machine | library).printer
        bed = " \u00d7 ".join(f"{length:g}" for length in table.bed_mm)
        says = self.words["printer_figures"].format(
            machine=table.machine, nozzle=f"{table.nozzle_mm:g}",
            layer=f"{table.layer_height_mm:g}", bed=bed,
        )  # fmt: skip
        self.printer.set_text(self.words.numbers(says))

    def _gauge(self, reading: Any) -> tuple[dict[str, float], str]:  # noqa: ANN401 (its model)
        error_mm = gauge_error_mm(ring=reading.ring, slot=reading.slot)
        return {"print_error_mm": error_mm}, self.words["gauge_says"].format(mm=f"{error_mm:g}")

    def _take_error(self, found: Tree) -> None:
        self.form.set_values(self.form.draft.tree | found)
        self.form.keep()
