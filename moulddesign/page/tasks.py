"""The tasks beside the design: a mould that one owns, a trial bake, a batch."""

from dataclasses import asdict
from functools import partial
from typing import Any, Final

from nicegui import ui

from moulddesign.core import FileError, FileMistakesError, MouldError
from moulddesign.design import Design
from moulddesign.kitchen import read_weighings
from moulddesign.page import markup
from moulddesign.page.design_form import DesignForm
from moulddesign.page.jobs import BATCH, TRIAL, BatchRequest, TrialRequest
from moulddesign.page.markup import button, element, html_area, paragraph, set_enabled, text_element
from moulddesign.page.own_list import listed_moulds
from moulddesign.page.owned_jobs import way_of
from moulddesign.page.owned_task import OwnedTask, PieceTaker
from moulddesign.page.session import Session
from moulddesign.page.task_form import TaskForm

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


class TaskPages:
    """The three tasks of one tab."""

    def __init__(self, session: Session, design_form: DesignForm) -> None:
        self.session = session
        self.design_form = design_form
        self.words = design_form.words

    def owned(self) -> None:
        """Lay out what fits a mould that one owns."""
        OwnedTask(self.session, self.design_form).lay_out()

    def trial(self) -> None:
        """Lay out the trial bake."""
        text_element("h2", self.words["task_trial"], "first")
        text_element("p", self.words["trial_help"])
        task = TaskForm(
            self.session, self.design_form.schema, TrialRequest, values={"weighings": [{}]}
        )
        task.lay_out(job=TRIAL, name="trial", show=self._trial)
        with element("label", "upload"):
            text_element("span", self.words["open_weighings"])
            element("input", type="file", accept=".csv,.txt,.tsv").on(
                "change",
                lambda event: self._fill_weighings(task, event.args),
                js_handler=UPLOAD_TABLE_JS,
            )
        with element("p", "actions"):
            self.same = button(self.words["use_same_mould"], lambda: self._use("same_mould"))
            self.new = button(self.words["use_new_mould"], lambda: self._use("new_mould"))
        self._designs: dict[str, Any] = {}
        self._enable_designs()

    def _enable_designs(self) -> None:
        for choice in (self.same, self.new):
            set_enabled(choice, can=bool(self._designs))

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
        text_element("h3", self.words["on_hand"])
        task = TaskForm(self.session, self.design_form.schema, BatchRequest, values={})
        task.lay_out(job=BATCH, name="hand", show=self._batch)

    def _offer_own_moulds(self) -> None:
        """Offer the moulds of one's own list: what one takes becomes the design of the batch."""
        wrong = html_area("notice")
        taker = PieceTaker(self.session, self.design_form)
        try:
            moulds = listed_moulds(self.session.uploads)
        except MouldError as error:
            wrong.set_content(paragraph(self.words.error(error), "error"))
            return
        if not moulds:
            return

        def show(error: MouldError) -> None:
            wrong.set_content(paragraph(self.words.error(error), "error"))

        def take(name: str) -> None:
            wrong.set_content("")
            taker.take(way_of(moulds[name]), None, show)

        with element("div", "own-list"):
            text_element("h3", self.words["bake_with"], "first")
            with element("p", "own-mould"):
                for name in moulds:
                    button(name, partial(take, name), aria_label=f"{self.words['use']}: {name}")
        taker.lay_out()

    def _trial(self, found: dict[str, Any]) -> str:
        self._designs = found["designs"]
        self._enable_designs()
        return markup.trial_result(self.words, found)

    def _batch(self, made: Any) -> str:  # noqa: ANN401 (a Batch, from the worker)
        return markup.batch_result(self.words, made, self.session.design.batch.currency)

    def _use(self, which: str) -> None:
        self.design_form.replace(Design.of(self._designs[which]))
        ui.notify(self.words["design_replaced"])
