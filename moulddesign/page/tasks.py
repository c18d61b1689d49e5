"""The tasks beside the design: a mould that one owns, a trial bake, a batch."""

import asyncio
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from nicegui import ui

from moulddesign.core import FileError, FileMistakesError, MouldError, SpecError, say
from moulddesign.design import (
    BookDough,
    Design,
    Measured,
    read_dough_book,
    read_register,
    save_dough_book,
    save_register,
    with_pressed,
)
from moulddesign.kitchen.batch import Batch
from moulddesign.kitchen.pooling import dough_values, remember
from moulddesign.kitchen.trial import read_weighings
from moulddesign.page import markup
from moulddesign.page.batch_sheet import batch_sheet, joint_result
from moulddesign.page.design_form import DesignForm
from moulddesign.page.jobs import BATCH, PICTURE, TRIAL, BatchAnswer, BatchRequest, TrialRequest
from moulddesign.page.markup import (
    button,
    element,
    html_area,
    paragraph,
    set_enabled,
    set_visible,
    text_element,
)
from moulddesign.page.own_list import listed_moulds
from moulddesign.page.owned_jobs import way_of
from moulddesign.page.owned_task import OwnedTask, PieceTaker
from moulddesign.page.recipe_form import RecipeForm
from moulddesign.page.session import BUILD_LIMIT_S, Session
from moulddesign.page.task_form import TaskForm
from moulddesign.page.workshop_place import WorkshopPlace

if TYPE_CHECKING:
    from collections.abc import Mapping

UPLOAD_TABLE_JS: Final = """async (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (file) emit(await window.uploadFile("weighings", file));
}"""
"""Uploads a table of weighings and tells its name, or what is wrong with it."""


def _of_upload(error: MouldError, name: str) -> MouldError:
    """Return an error about an upload under a name that its owner knows."""
    match error:
        case FileMistakesError():
            return FileMistakesError(name, error.mistakes)
        case FileError():
            return FileError(name, error.reason)
    return error


def without_empty_lines(tree: dict[str, Any]) -> dict[str, Any]:
    """Return the weighings without the empty lines at the end; the first stays, to be asked for.

    Examples
    --------
    >>> without_empty_lines({"weighings": [{"raw_g": 80.0}, {}, {}]})
    {'weighings': [{'raw_g': 80.0}]}
    """
    lines = list(tree["weighings"])
    while len(lines) > 1 and not lines[-1]:
        lines.pop()
    return tree | {"weighings": lines}


class TaskPages:
    """The three tasks of one tab."""

    def __init__(self, session: Session, design_form: DesignForm) -> None:
        self.session = session
        self.design_form = design_form
        self.words = design_form.words
        self._sheets = 0
        self._picked: tuple[str, ...] = ()
        self._to_count: Mapping[str, int] = {}

    def owned(self) -> None:
        """Lay out what fits a mould that one owns."""
        OwnedTask(self.session, self.design_form).lay_out()

    def trial(self) -> None:
        """Lay out the trial bake."""
        text_element("h2", self.words["task_trial"], "first")
        text_element("p", self.words["trial_help"])
        task = TaskForm(
            self.session,
            self.design_form.schema,
            TrialRequest,
            values={"weighings": [{}, {}, {}]},
            asked=without_empty_lines,
        )
        task.lay_out(job=TRIAL, name="trial", show=self._trial)
        with element("label", "upload"):
            text_element("span", self.words["open_weighings"])
            element("input", type="file", accept=".csv,.txt,.tsv").on(
                "change",
                lambda event: self._fill_weighings(task, event.args),
                js_handler=UPLOAD_TABLE_JS,
            )
        self._trial_task = task
        with element("p", "actions"):
            self.keep = button(self.words["remember_trial"], self._remember)
            self.same = button(self.words["use_same_mould"], lambda: self._use("same_mould"))
            self.new = button(self.words["use_new_mould"], lambda: self._use("new_mould"))
        self._remembered = html_area("notice")
        self._doughs = element("div", "own-list", aria_label=self.words["dough_book"], role="group")
        self._designs: dict[str, Any] = {}
        self._measured: list[Measured] = []
        self._enable_designs()
        self._show_doughs()

    def _enable_designs(self) -> None:
        for choice in (self.same, self.new):
            set_enabled(choice, can=bool(self._designs))
        set_enabled(self.keep, can=bool(self._measured))

    def _remember(self) -> None:
        """Add the last trial to the dough of the book that is named in its form."""
        name = self._trial_task.draft.tree.get("remember_as") or ""
        try:
            if not name:
                raise SpecError("remember_as", "not given", say("page.name-the-dough"))
            row = remember(read_dough_book(), name, self._measured, self.session.design)
            save_dough_book(row)
        except MouldError as error:
            self._trial_task.show_at_field(error)
            self._remembered.set_content(paragraph(self.words.error(error), "error"))
            return
        self._measured = []
        self._enable_designs()
        self._remembered.set_content(paragraph(self.words["remembered"].format(name=name)))
        self._show_doughs()

    def _show_doughs(self) -> None:
        """Show the doughs of the book: a tap takes one's figures into the design."""
        self._doughs.clear()
        try:
            rows = read_dough_book().dough
        except MouldError as error:
            self._remembered.set_content(paragraph(self.words.error(error), "error"))
            rows = ()
        set_visible(self._doughs, shown=bool(rows))
        with self._doughs:
            text_element("h3", self.words["dough_book"], "first")
            with element("p", "own-mould"):
                for row in rows:
                    label = f"{self.words['use']}: {row.name}"
                    button(row.name, partial(self._take_dough, row), aria_label=label)

    def _take_dough(self, row: BookDough) -> None:
        design = self.session.design
        values = dough_values(row, design.portion.composition)
        self.design_form.replace(design.with_values(values))
        self._remembered.set_content("")
        ui.notify(self.words["design_replaced"])

    def _fill_weighings(self, task: TaskForm, answer: dict[str, str]) -> None:
        """Fill the weighings of an uploaded table into the form."""
        if "name" not in answer:
            task.answer.set_content(paragraph(self.words.upload_error(answer["error"]), "error"))
            return
        try:
            found = read_weighings(self.session.uploads.folder / answer["name"])
        except MouldError as error:
            sentence = self.words.error(_of_upload(error, self.words["table"]))
            task.answer.set_content(paragraph(sentence, "error"))
            return
        pieces = [asdict(each) for each in found]
        task.set_values(
            {"weighings": [{k: v for k, v in p.items() if v is not None} for p in pieces]}
        )
        task.answer.set_content("")

    def batch(self) -> None:
        """Lay out the batch: its table of the design, and what is on hand."""
        text_element("h2", self.words["task_batch"], "first")
        text_element("p", self.words["batch_help"])
        self._offer_own_moulds()
        self.design_form.lay_out_batch()
        RecipeForm(self.session, self.design_form).lay_out_recipe()
        text_element("h3", self.words["on_hand"])
        task = TaskForm(self.session, self.design_form.schema, BatchRequest, values={})
        self._batch_task = task
        task.lay_out(job=BATCH, name="hand", show=self._batch, more=((),))
        with task.actions:
            self.count = button(self.words["count_pressed"], self._count)
        set_visible(self.count, shown=False)

    def workshop(self) -> None:
        """Lay out the workshop, which is asked once."""
        WorkshopPlace(self.session, self.design_form).lay_out()

    def _offer_own_moulds(self) -> None:
        """Make the place of the moulds of one's own list: what one takes becomes the design."""
        self._moulds = element("div", "own-list", aria_label=self.words["bake_with"], role="group")
        self._wrong = html_area("notice")
        self._taker = PieceTaker(self.session, self.design_form)
        self._taker.lay_out()

    def show_own_moulds(self) -> None:
        """Show the moulds of one's own list for the batch."""
        self._moulds.clear()
        self._wrong.set_content("")
        try:
            moulds = listed_moulds(self.session.uploads)
        except MouldError as error:
            self._say_wrong(error)
            moulds = {}
        set_visible(self._moulds, shown=bool(moulds))
        with self._moulds:
            text_element("h3", self.words["bake_with"], "first")
            with element("p", "own-mould"):
                for mould_id, mould in moulds.items():
                    label = f"{self.words['use']}: {mould['name']}"
                    says = f"{mould_id}: {mould['name']}"
                    button(says, partial(self._bake_with, mould), aria_label=label)
            text_element("p", self.words["bake_in_several"])
            with element("p", "own-mould"):
                for mould_id, mould in moulds.items():
                    with element("label", "checkbox"):
                        element("input", type="checkbox", id=f"bake-in-{mould_id}").on(
                            "change",
                            lambda event, each=mould_id: self._pick(each, picked=bool(event.args)),
                            js_handler="(event) => emit(event.target.checked)",
                        )
                        text_element("span", f"{mould_id}: {mould['name']}")
        self._pick("", picked=False)

    def _pick(self, mould_id: str, *, picked: bool) -> None:
        """Bake in a mould as well, or not; without an id in none of them."""
        ids = [each for each in self._picked if mould_id and each != mould_id]
        self._picked = (*ids, mould_id) if picked else tuple(ids)
        self._batch_task.more = (self._picked,)

    def _count(self) -> None:
        """Add the pieces of the last batch to what the register counts of its moulds, once."""
        try:
            save_register(with_pressed(read_register(), self._to_count))
        except MouldError as error:
            self._say_wrong(error)
            return
        ui.notify(self.words["pressed_counted"])
        set_visible(self.count, shown=False)

    def _bake_with(self, mould: dict[str, Any]) -> None:
        self._wrong.set_content("")
        self._taker.take(way_of(mould), None, self._say_wrong)

    def _say_wrong(self, error: MouldError) -> None:
        self._wrong.set_content(paragraph(self.words.error(error), "error"))

    def _trial(self, found: dict[str, Any]) -> str:
        self._designs = found["designs"]
        self._measured = [Measured.of(each) for each in found["measured"]]
        self._enable_designs()
        return markup.trial_result(self.words, found)

    def _batch(self, answer: BatchAnswer) -> str:
        made, design = answer.made, answer.orders[0].design
        self._to_count = answer.pieces
        set_visible(self.count, shown=bool(answer.pieces))
        remarks = "".join(
            paragraph(f"{self.words.said(each)}{self.words['full_stop']}", "error")
            for each in answer.remarks
        )
        if not isinstance(made, Batch):
            return remarks + joint_result(self.words, made, design.batch.currency)
        self._drawing = asyncio.get_running_loop().create_task(
            self._draw_sheet(made, design, remarks)
        )
        return remarks + self._with_sheet(made, design, "")

    def _with_sheet(self, made: Batch, design: Design, picture: str) -> str:
        shown = markup.batch_result(self.words, made, design.batch.currency)
        return shown + batch_sheet(self.words, made, design, picture)

    async def _draw_sheet(self, made: Batch, design: Design, remarks: str) -> None:
        """Add the picture of the piece to the sheet; the preview's process knows its shape."""
        try:
            async for _, png in self.session.workers.preview.stream(
                PICTURE, design.plain(), limit_s=BUILD_LIMIT_S, cancelled=asyncio.Event()
            ):
                self._sheets += 1  # another address, or the browser shows the picture before
                name = f"batch-{self._sheets}.png"
                self.session.downloads[name] = png
                html = self._with_sheet(made, design, f"/files/{self.session.token}/{name}")
                self._batch_task.answer.set_content(remarks + self.words.numbers(html))
        except MouldError as error:
            self._say_wrong(error)

    def _use(self, which: str) -> None:
        self.design_form.replace(Design.of(self._designs[which]))
        ui.notify(self.words["design_replaced"])
