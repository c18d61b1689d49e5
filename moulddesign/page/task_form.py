"""A form with a button that calculates an answer in a worker, for the design as it is."""

import asyncio
from collections.abc import Callable, Collection
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from moulddesign.core import MouldError
from moulddesign.design import (
    FileKind,
    Register,
    RegisteredMould,
    Table,
    is_file,
    rename_files,
    spec_error,
)
from moulddesign.page.design_files import refuse_unknown_files
from moulddesign.page.design_form import FORM_TEXTS, known_names
from moulddesign.page.draft import (
    Draft,
    FormSection,
    Tree,
    all_fields,
    field_of_error,
    flattened,
    form_sections,
    parse_input,
    without_indexes,
)
from moulddesign.page.form_schema import FormSchema
from moulddesign.page.markup import FormElement, button, element, html_area, paragraph, text_element
from moulddesign.page.session import BUILD_LIMIT_S, Session
from moulddesign.workers import Job

Show = Callable[[Any], str]


class TaskForm:
    """A form with a button that calculates the answer, for the session's present design."""

    def __init__(
        self,
        session: Session,
        schema: FormSchema,
        model: type[Table],
        *,
        values: Tree,
        sections: tuple[FormSection, ...] | None = None,
        asked: Callable[[Tree], Tree] = dict,
    ) -> None:
        """`asked` returns of all that was typed what counts."""
        self.session = session
        self.schema = schema
        self.words = schema.words
        self.model = model
        self.draft = Draft(values, model)
        self.sections = form_sections(model.model_json_schema()) if sections is None else sections
        self.asked = asked
        self.fields = {field.path: field for field in all_fields(self.sections)}
        self._cancelled = asyncio.Event()
        self._running: set[asyncio.Task[None]] = set()

    def lay_out(
        self, *, job: Job, name: str, show: Show, more: tuple[Any, ...] = (), go: str = "calculate"
    ) -> None:
        """Make the form, the button and the place of the answer."""
        self.job, self.show, self.more = job, show, more
        self.add_form(name)
        with element("p", "actions") as self.actions:
            button(self.words[go], self.start, "primary")
            text_element("button", self.words["print"], type="button").on(
                "click", js_handler="() => window.print()"
            )
        self.answer = html_area("answer")
        self.answer._props["role"] = "status"  # noqa: SLF001

    def add_form(self, name: str) -> None:
        """Make the form alone; its name begins the ids of its fields."""
        self.form = FormElement(
            sections=[self.schema.section(section) for section in self.sections],
            texts={key: self.words[key] for key in FORM_TEXTS},
            start=self._state({}),
            prefix=name,
        )
        self.form.on("edit", lambda event: self._edited(*event.args))
        self.form.on("add", lambda event: self._change_entries(self.draft.add, event.args[0], {}))
        self.form.on("remove", lambda event: self._change_entries(self.draft.remove, *event.args))

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
        if path in self._deciding:
            self.form.set_state(self._state(self._errors()))
        else:
            self.form.set_errors(self._errors())

    @property
    def _deciding(self) -> Collection[str]:
        """Fields whose values decide which others are shown."""
        return {name for field in self.fields.values() for name, _ in field.only}

    def _change_entries(self, change: Callable[..., None], *arguments: Any) -> None:  # noqa: ANN401
        change(*arguments)
        self.form.set_state(self._state(self._errors()))

    def _errors(self) -> dict[str, str]:
        try:
            self.draft.model.model_validate(self.asked(self.draft.tree))
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
            await asyncio.to_thread(self.refuse_unknown_files)  # it may read a file of moulds
            self.model.of(self.asked(self.draft.tree))  # here, without the worker's start
            self.form.set_errors({})
            async for _, answer in self.session.workers.tasks.stream(
                self.job, self.session.design.plain(), self.asked(self.draft.tree), *self.more,
                limit_s=BUILD_LIMIT_S, cancelled=cancelled,
            ):  # fmt: skip
                if not self.answer.is_deleted:  # by closing the tab
                    self.answer.set_content(self.words.numbers(self.show(answer)))
        except MouldError as error:
            if not cancelled.is_set():
                self.show_error(error)

    def show_error(self, error: MouldError) -> None:
        """Show what is wrong, at its field and in the answer's place."""
        self.show_at_field(error)
        self.answer.set_content(paragraph(self.words.error(error), "error"))

    def show_at_field(self, error: MouldError) -> None:
        """Show what is wrong at its field alone."""
        self.form.set_errors(self._errors_by_field(error))

    def refuse_unknown_files(self) -> None:
        """Refuse files that were not uploaded, also where an uploaded file of moulds names them."""
        tree, uploads = self.asked(self.draft.tree), self.session.uploads
        refuse_unknown_files(tree, self.draft.model, known=known_names(), uploads=uploads)
        if isinstance(tree.get("moulds"), str):
            for mould in Register.read(uploads.folder / tree["moulds"]).mould:
                named = rename_files(mould.plain(), RegisteredMould, _last_part)
                refuse_unknown_files(named, RegisteredMould, known=known_names(), uploads=uploads)

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
