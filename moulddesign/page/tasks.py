"""The tasks beside the design: a mould that one owns, a trial bake, a batch."""

import asyncio
from collections.abc import Callable
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any, Final

from nicegui import ui
from pydantic import BaseModel, ValidationError

from moulddesign.core import FileError, FileMistakesError, MouldError
from moulddesign.design import (
    Design,
    FileKind,
    OwnedMould,
    Shelf,
    is_file,
    rename_files,
    spec_error,
)
from moulddesign.kitchen import read_weighings
from moulddesign.page import markup
from moulddesign.page.design_files import (
    refuse_unknown_files,
)
from moulddesign.page.design_form import FORM_TEXTS, DesignForm, known_names
from moulddesign.page.draft import (
    Draft,
    Tree,
    all_fields,
    field_of_error,
    flattened,
    form_sections,
    parse_input,
    without_indexes,
)
from moulddesign.page.form_schema import FormSchema
from moulddesign.page.jobs import (
    BATCH,
    FIT,
    RANKING,
    TRIAL,
    BatchRequest,
    FitRequest,
    RankingRequest,
    TrialRequest,
)
from moulddesign.page.markup import (
    FormElement,
    button,
    element,
    html_area,
    paragraph,
    set_enabled,
    text_element,
)
from moulddesign.page.session import BUILD_LIMIT_S, Session
from moulddesign.workers import Job

Show = Callable[[Any], str]
UPLOAD_TABLE_JS: Final = """async (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (file) emit(await window.uploadFile("weighings", file));
}"""
"""Uploads a table of weighings and tells its name, or what is wrong with it."""


class TaskForm:
    """A form with a button that calculates the answer, for the session's present design."""

    def __init__(
        self, session: Session, schema: FormSchema, model: type[BaseModel], *, values: Tree
    ) -> None:
        self.session = session
        self.schema = schema
        self.words = schema.words
        self.draft = Draft(values, model)
        self.sections = form_sections(model.model_json_schema())
        self.fields = {field.path: field for field in all_fields(self.sections)}
        self._cancelled = asyncio.Event()
        self._running: set[asyncio.Task[None]] = set()

    def lay_out(
        self, *, job: Job, name: str, show: Show, more: tuple[dict[str, str], ...] = ()
    ) -> None:
        """Make the form, the button and the place of the answer."""
        self.job, self.show, self.more = job, show, more
        self.form = FormElement(
            sections=[self.schema.section(section) for section in self.sections],
            texts={key: self.words[key] for key in FORM_TEXTS},
            start=self._state({}),
            prefix=name,
        )
        self.form.on("edit", lambda event: self._edited(*event.args))
        self.form.on("add", lambda event: self._change_entries(self.draft.add, event.args[0], {}))
        self.form.on("remove", lambda event: self._change_entries(self.draft.remove, *event.args))
        with element("p", "actions"):
            button(self.words["calculate"], self.start, "primary")
            text_element("button", self.words["print"], type="button").on(
                "click", js_handler="() => window.print()"
            )
        self.answer = html_area("answer")
        self.answer._props["role"] = "status"  # noqa: SLF001

    def start(self) -> None:
        """Calculate the answer for the design as it is now."""
        self._cancelled.set()
        self._cancelled = asyncio.Event()
        task = asyncio.get_running_loop().create_task(self._work(self._cancelled))
        self._running.add(task)
        task.add_done_callback(self._running.discard)

    def _edited(self, path: str, typed: object, refused: str | None = None) -> None:
        if refused is not None:
            self.form.set_errors({path: self.words.upload_error(refused)})
            return
        self.draft.set_value(path, parse_input(self.fields[without_indexes(path)], typed))
        self._validate()

    def _change_entries(self, change: Callable[..., None], *arguments: Any) -> None:  # noqa: ANN401
        change(*arguments)
        self.form.set_state(self._state(self._errors()))

    def _validate(self) -> None:
        self.form.set_errors(self._errors())

    def _errors(self) -> dict[str, str]:
        try:
            self.draft.model.model_validate(self.draft.tree)
        except ValidationError as error:
            if error.errors()[0]["type"] == "missing":  # still to be typed; `start` asks for it
                return {}
            return self._errors_by_field(spec_error(error, self.draft.model))
        return {}

    def _errors_by_field(self, error: MouldError) -> dict[str, str]:
        path = field_of_error(error, self.draft.tree, self.fields)
        return {} if path is None else {path: self.words.need(error)}

    async def _work(self, cancelled: asyncio.Event) -> None:
        self.answer.set_content(paragraph(self.words["calculating"]))
        try:
            self._refuse_unknown_files()
            async for _, answer in self.session.workers.tasks.stream(
                self.job, self.session.design.plain(), self.draft.tree, *self.more,
                limit_s=BUILD_LIMIT_S, cancelled=cancelled,
            ):  # fmt: skip
                self.answer.set_content(self.words.numbers(self.show(answer)))
        except MouldError as error:
            self.form.set_errors(self._errors_by_field(error))
            self.answer.set_content(paragraph(self.words.error(error), "error"))

    def _refuse_unknown_files(self) -> None:
        """Refuse files that were not uploaded, also where an uploaded file of moulds names them."""
        tree, uploads = self.draft.tree, self.session.uploads
        refuse_unknown_files(tree, self.draft.model, known=known_names(), uploads=uploads)
        if isinstance(tree.get("moulds"), str):
            for mould in Shelf.read(uploads.folder / tree["moulds"]).mould:
                named = rename_files(mould.plain(), OwnedMould, _last_part)
                refuse_unknown_files(named, OwnedMould, known=known_names(), uploads=uploads)

    def set_values(self, tree: dict[str, Any]) -> None:
        """Show other values."""
        self.draft.replace(tree)
        self.form.set_state(self._state(self._errors()))

    def _state(self, errors: dict[str, str]) -> dict[str, Any]:
        values, counts = flattened(self.draft.tree)
        for path, field in self.fields.items():
            values.setdefault(path, None if field.optional else field.default)
        return {"values": values, "counts": counts, "errors": errors}


def _last_part(kind: FileKind, name: str) -> str:
    return Path(name).name if is_file(kind, name) else name


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
        text_element("h2", self.words["task_owned"], "first")
        text_element("p", self.words["owned_help"])
        task = TaskForm(
            self.session,
            self.design_form.schema,
            FitRequest,
            values={"width_mm": 50.0, "height_mm": 25.0},
        )
        wording = dict(self.words.tables["plot"])
        task.lay_out(job=FIT, name="owned", show=self._fit, more=(wording,))
        text_element("h2", self.words["ranking"])
        text_element("p", self.words["ranking_help"])
        shelf = TaskForm(self.session, self.design_form.schema, RankingRequest, values={})
        shelf.lay_out(job=RANKING, name="shelf", show=partial(markup.ranking_table, self.words))

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
        self.design_form.lay_out_batch()
        text_element("h3", self.words["on_hand"])
        task = TaskForm(self.session, self.design_form.schema, BatchRequest, values={})
        task.lay_out(job=BATCH, name="hand", show=self._batch)

    def _fit(self, answer: tuple[dict[str, Any], bytes]) -> str:
        report, plot = answer
        address = ""
        if plot:
            self.session.downloads["window.svg"] = plot
            address = f"/files/{self.session.token}/window.svg"
        return markup.fit_result(self.words, report, address)

    def _trial(self, found: dict[str, Any]) -> str:
        self._designs = found["designs"]
        self._enable_designs()
        return markup.trial_result(self.words, found)

    def _batch(self, made: Any) -> str:  # noqa: ANN401 (a Batch, from the worker)
        return markup.batch_result(self.words, made, self.session.design.batch.currency)

    def _use(self, which: str) -> None:
        self.design_form.replace(Design.of(self._designs[which]))
        ui.notify(self.words["design_replaced"])
