"""The tasks beside the design: a mould that one has, a trial bake, a batch."""

import asyncio
from collections.abc import Callable
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any, Final

from nicegui import ui
from pydantic import BaseModel, ValidationError

from moulddesign.core import FileError, MouldError
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
from moulddesign.page.design_form import FORM_TEXTS, Asking, known_words
from moulddesign.page.draft import (
    Draft,
    at_field,
    every_field,
    flat,
    read,
    sections,
    without_places,
)
from moulddesign.page.form_schema import Forms
from moulddesign.page.jobs import (
    BATCH,
    FIT,
    RANKING,
    TRIAL,
    OnHandAsk,
    OwnedAsk,
    ShelfAsk,
    TrialAsk,
)
from moulddesign.page.markup import Form, button, enable, live, paragraph, plain, said
from moulddesign.page.session import BUILD_LIMIT_S, Session
from moulddesign.page.uploads import refuse_strange
from moulddesign.workers import Job

Show = Callable[[Any], str]
TAKE_TABLE: Final = """async (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (file) emit(await window.uploaded("weighings", file));
}"""
"""Uploads a table of weighings and tells its name, or what is wrong with it."""


class Task:
    """A form of its own whose answer is worked out when it is asked for.

    Parameters
    ----------
    session : Session
        Its workers do the work, its design is what the work starts from.
    forms : Forms
        Describes the form.
    model : type of BaseModel
        What is asked.
    start : dict
        What stands in the form at first.
    """

    def __init__(
        self, session: Session, forms: Forms, model: type[BaseModel], *, start: dict[str, Any]
    ) -> None:
        self.session = session
        self.forms = forms
        self.words = forms.words
        self.draft = Draft(start, model)
        self.sections = sections(model.model_json_schema())
        self.fields = {field.path: field for field in every_field(self.sections)}
        self._cancelled = asyncio.Event()
        self._going: set[asyncio.Task[None]] = set()

    def lay_out(
        self, *, job: Job, name: str, show: Show, more: tuple[dict[str, str], ...] = ()
    ) -> None:
        """Make the form, the button and the place of the answer.

        Parameters
        ----------
        job : Job
            What works it out.
        name : str
            Begins the form's ids.
        show : callable
            Returns HTML for what the job tells.
        more : tuple of dict
            What the job is given beside the design and the form.
        """
        self.job, self.show, self.more = job, show, more
        self.form = Form(
            sections=[self.forms.section(section) for section in self.sections],
            texts={key: self.words[key] for key in FORM_TEXTS},
            start=self._state({}),
            prefix=name,
        )
        self.form.on("edit", lambda event: self._edited(*event.args))
        self.form.on("add", lambda event: self._listed(self.draft.add, event.args[0], {}))
        self.form.on("drop", lambda event: self._listed(self.draft.drop, *event.args))
        with plain("p", "making"):
            button(self.words["work_out"], self.begin, "strong")
            said("button", self.words["print"], type="button").on(
                "click", js_handler="() => window.print()"
            )
        self.answer = live("answer")
        self.answer._props["role"] = "status"  # noqa: SLF001

    def begin(self) -> None:
        """Work it out for the design as it is now."""
        self._cancelled.set()
        self._cancelled = asyncio.Event()
        task = asyncio.get_running_loop().create_task(self._work(self._cancelled))
        self._going.add(task)
        task.add_done_callback(self._going.discard)

    def _edited(self, path: str, typed: object, refused: str | None = None) -> None:
        if refused is not None:
            self.form.judge({path: self.words.said(refused)})
            return
        self.draft.put(path, read(self.fields[without_places(path)], typed))
        self._judge()

    def _listed(self, change: Callable[..., None], *arguments: Any) -> None:  # noqa: ANN401
        change(*arguments)
        self.form.fill(self._state(self._errors()))

    def _judge(self) -> None:
        self.form.judge(self._errors())

    def _errors(self) -> dict[str, str]:
        try:
            self.draft.model.model_validate(self.draft.tree)
        except ValidationError as error:
            if error.errors()[0]["type"] == "missing":  # still to be typed; `begin` asks for it
                return {}
            return self._placed(spec_error(error, self.draft.model))
        return {}

    def _placed(self, error: MouldError) -> dict[str, str]:
        path = at_field(error, self.draft.tree, self.fields)
        return {} if path is None else {path: self.words.need(error)}

    async def _work(self, cancelled: asyncio.Event) -> None:
        self.answer.set_content(paragraph(self.words["working"]))
        try:
            self._refuse_strange()
            async for _, told in self.session.workers.tasks.stream(
                self.job, self.session.design.plain(), self.draft.tree, *self.more,
                limit_s=BUILD_LIMIT_S, cancelled=cancelled,
            ):  # fmt: skip
                self.answer.set_content(self.show(told))
        except MouldError as error:
            self.form.judge(self._placed(error))
            self.answer.set_content(paragraph(self.words.error(error), "error"))

    def _refuse_strange(self) -> None:
        """Refuse files that were not uploaded, also where an uploaded shelf names them."""
        tree, uploads = self.draft.tree, self.session.shelf
        refuse_strange(tree, self.draft.model, known=known_words(), shelf=uploads)
        if isinstance(tree.get("moulds"), str):
            for mould in Shelf.read(uploads.folder / tree["moulds"]).mould:
                named = rename_files(mould.plain(), OwnedMould, _last_part)
                refuse_strange(named, OwnedMould, known=known_words(), shelf=uploads)

    def put(self, tree: dict[str, Any]) -> None:
        """Take other values."""
        self.draft.replace(tree)
        self.form.fill(self._state(self._errors()))

    def _state(self, errors: dict[str, str]) -> dict[str, Any]:
        values, counts = flat(self.draft.tree)
        for path, field in self.fields.items():
            values.setdefault(path, None if field.optional else field.default)
        return {"values": values, "counts": counts, "errors": errors}


def _last_part(kind: FileKind, name: str) -> str:
    return Path(name).name if is_file(kind, name) else name


class Bench:
    """The three tasks of one tab.

    Parameters
    ----------
    session : Session
        The tab's work.
    asking : Asking
        The design's form.
    """

    def __init__(self, session: Session, asking: Asking) -> None:
        self.session = session
        self.asking = asking
        self.words = asking.words

    def owned(self) -> None:
        """Lay out the mould that one has."""
        said("h2", self.words["task_owned"], "first")
        said("p", self.words["owned_says"])
        task = Task(
            self.session, self.asking.forms, OwnedAsk, start={"width_mm": 50.0, "height_mm": 25.0}
        )
        wording = dict(self.words.tables["plot"])
        task.lay_out(job=FIT, name="owned", show=self._fit, more=(wording,))
        said("h2", self.words["shelf"])
        said("p", self.words["shelf_says"])
        shelf = Task(self.session, self.asking.forms, ShelfAsk, start={})
        shelf.lay_out(job=RANKING, name="shelf", show=partial(markup.ranking, self.words))

    def trial(self) -> None:
        """Lay out the trial bake."""
        said("h2", self.words["task_trial"], "first")
        said("p", self.words["trial_says"])
        task = Task(self.session, self.asking.forms, TrialAsk, start={"weighings": [{}]})
        task.lay_out(job=TRIAL, name="trial", show=self._trial)
        with plain("label", "own"):
            said("span", self.words["load_weighings"])
            plain("input", type="file", accept=".csv,.txt,.tsv").on(
                "change", lambda event: self._weighed(task, event.args), js_handler=TAKE_TABLE
            )
        with plain("p", "making"):
            self.same = button(self.words["take_same_mould"], lambda: self._take("same_mould"))
            self.fresh = button(self.words["take_new_mould"], lambda: self._take("new_mould"))
        self._designs: dict[str, Any] = {}
        self._offer_designs()

    def _offer_designs(self) -> None:
        for offer in (self.same, self.fresh):
            enable(offer, can=bool(self._designs))

    def _weighed(self, task: Task, answer: dict[str, str]) -> None:
        """Fill the weighings of a table that was uploaded into the form."""
        if "name" not in answer:
            task.answer.set_content(paragraph(self.words.said(answer["error"]), "error"))
            return
        try:
            found = read_weighings(self.session.shelf.folder / answer["name"])
        except FileError as error:
            said = self.words.error(FileError(self.words["table"], error.reason))
            task.answer.set_content(paragraph(said, "error"))
            return
        pieces = [asdict(each) for each in found]
        task.put({"weighings": [{k: v for k, v in p.items() if v is not None} for p in pieces]})
        task.answer.set_content("")

    def batch(self) -> None:
        """Lay out the batch: its table of the design, and what is on hand."""
        said("h2", self.words["task_batch"], "first")
        said("p", self.words["batch_says"])
        self.asking.lay_out_batch()
        said("h3", self.words["on_hand"])
        task = Task(self.session, self.asking.forms, OnHandAsk, start={})
        task.lay_out(job=BATCH, name="hand", show=self._batch)

    def _fit(self, told: tuple[dict[str, Any], bytes]) -> str:
        report, plot = told
        address = ""
        if plot:
            self.session.drawer["window.svg"] = plot
            address = f"/files/{self.session.token}/window.svg"
        return markup.fitting(self.words, report, address)

    def _trial(self, found: dict[str, Any]) -> str:
        self._designs = found["designs"]
        self._offer_designs()
        return markup.trying(self.words, found)

    def _batch(self, made: Any) -> str:  # noqa: ANN401 (a Batch, from the worker)
        return markup.batching(self.words, made, self.session.design.batch.currency)

    def _take(self, which: str) -> None:
        self.asking.take(Design.of(self._designs[which]))
        ui.notify(self.words["taken"])
