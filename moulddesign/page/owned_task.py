"""The task of a mould that one owns: how it is known, what fits it, and the row that is taken."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, Final

from nicegui import ui

from moulddesign.core import Message, MouldError
from moulddesign.design import Design
from moulddesign.page import fit_result
from moulddesign.page.design_files import with_upload_names
from moulddesign.page.design_form import DesignForm
from moulddesign.page.draft import FormSection, Tree, form_sections
from moulddesign.page.markup import button, element, link, paragraph, set_visible, text_element
from moulddesign.page.own_list import (
    design_of,
    forget_mould,
    has_set,
    keep_mould,
    listed_moulds,
    shown_facts,
)
from moulddesign.page.owned_jobs import (
    ASKED_AT_ONCE,
    COUNTS,
    FIT,
    RANKING,
    TAKE,
    TWIN,
    FitRequest,
    RankingRequest,
    TwinRequest,
    way_of,
    what_counts,
)
from moulddesign.page.session import BUILD_LIMIT_S, Session
from moulddesign.page.set_task import SetTask
from moulddesign.page.task_form import TaskForm

Wrong = Callable[[MouldError], None]
"""Shows why something cannot be."""

TAKE_JS: Final = """(event) => {
  const button = event.target.closest("[data-take]");
  if (button) emit(Number(button.dataset.take));
}"""


def fit_sections() -> tuple[FormSection, ...]:
    """Return what is asked of a mould that one owns, each field with when it counts."""
    (found,) = form_sections(FitRequest.model_json_schema())
    known = {field.name: field for field in found.fields}
    fields = (
        replace(known[name], only=only, main=name in ASKED_AT_ONCE) for name, only in COUNTS.items()
    )
    return (FormSection(name="", fields=tuple(fields)),)


class PieceTaker:
    """Takes the piece that a mould takes as the design, and offers its bench card."""

    def __init__(self, session: Session, design_form: DesignForm) -> None:
        self.session = session
        self.design_form = design_form
        self.words = design_form.words
        self._taking: asyncio.Task[None] | None = None

    def lay_out(self) -> None:
        """Make the place that says what was taken."""
        with element("div", "taken", role="status") as self.place:
            self.says = text_element("p", "")
            with element("p", "actions"):
                text_element("button", self.words["open_piece"], "primary", type="button").on(
                    "click",
                    js_handler="() => document.querySelector('.page-head nav button').click()",
                )
                self.card = link(self.words["download_card"], "", download="")
        self.hide()

    def hide(self) -> None:
        """Hide what was taken before."""
        set_visible(self.place, shown=False)

    def take(
        self,
        tree: Mapping[str, Any],
        row: fit_result.Row | None,
        wrong: Callable[[MouldError], None],
    ) -> None:
        """Take the piece of a row, or of the recommended one; tell `wrong` why it cannot be."""
        if self._taking is None or self._taking.done():
            work = self._take(tree, row, wrong)
            self._taking = asyncio.get_running_loop().create_task(work)

    async def _take(
        self,
        tree: Mapping[str, Any],
        row: fit_result.Row | None,
        wrong: Callable[[MouldError], None],
    ) -> None:
        asked = None if row is None else {"ratio": row[0], "with_centre": row[1]}
        with self.place:  # what is shown and notified needs to know where it belongs
            self.hide()
            try:
                async for name, value in self.session.workers.tasks.stream(
                    TAKE, self.session.design.plain(), tree, asked,
                    limit_s=BUILD_LIMIT_S, cancelled=asyncio.Event(),
                ):  # fmt: skip
                    if name == "design":
                        self._show_design(Design.of(value), str(tree.get("name", "")))
                    else:
                        self._show_card(value)
            except MouldError as error:
                wrong(error)

    def _show_design(self, design: Design, mould: str) -> None:
        self.design_form.replace(design)
        finished = f"{design.portion.finished_weight_g:g}"
        says = self.words["taken"].format(finished=finished, mould=mould)
        self.says.set_text(self.words.numbers(says))
        set_visible(self.card, shown=False)
        set_visible(self.place, shown=True)
        ui.notify(self.words["design_replaced"])

    def _show_card(self, files: dict[str, bytes]) -> None:
        self.session.store_files(self.session.design, files)
        self.card._props["href"] = f"/files/{self.session.token}/card.pdf"  # noqa: SLF001
        set_visible(self.card, shown=True)


class OwnedTask:
    """The list of one's own moulds, the form of one, what fits it, and the ranking of several."""

    def __init__(self, session: Session, design_form: DesignForm) -> None:
        self.session = session
        self.design_form = design_form
        self.words = design_form.words
        self.taker = PieceTaker(session, design_form)
        self.printed = SetTask(session, design_form)
        self._rows: tuple[fit_result.Row, ...] = ()

    def lay_out(self) -> None:
        """Make the list, the forms and the places of their answers."""
        words, schema = self.words, self.design_form.schema
        text_element("h2", words["task_owned"], "first")
        text_element("p", words.sentences(words["owned_help"], words["inspect_help"]))
        self.listed = element("section", "own-list", aria_label=words["own_list"])
        self.task = TaskForm(
            self.session, schema, FitRequest, values={}, sections=fit_sections(), asked=what_counts
        )
        wording = dict(words.tables["plot"])
        self.task.lay_out(job=FIT, name="owned", show=self._shown, more=(wording,))
        self.task.answer.on("click", lambda event: self._take(event.args), js_handler=TAKE_JS)
        with self.task.actions:
            button(words["keep_mould"], lambda: self._change_list(self._keep))
        self.taker.lay_out()
        self.printed.lay_out()
        text_element("h2", words["twin"])
        text_element("p", words["twin_help"])
        twin = TaskForm(self.session, schema, TwinRequest, values={})
        twin.lay_out(job=TWIN, name="twin", show=self._take_twin, go="make_twin")
        text_element("h2", words["ranking"])
        text_element("p", words["ranking_help"])
        shelf = TaskForm(self.session, schema, RankingRequest, values={})
        shelf.lay_out(job=RANKING, name="shelf", show=partial(fit_result.ranking_table, words))
        self._change_list(lambda: None)

    def _change_list(self, change: Callable[[], None]) -> None:
        """Change the list, and show it as it is then."""
        try:
            change()
            moulds = listed_moulds(self.session.uploads)
        except MouldError as error:
            self.task.show_error(error)
            return
        self.listed.clear()
        with self.listed:
            text_element("h3", self.words["own_list"], "first")
            if not moulds:
                text_element("p", self.words["own_list_empty"], "help")
            for mould_id, mould in moulds.items():
                name = mould["name"]
                with element("p", "own-mould"):
                    use = self._says("use", name)
                    button(f"{mould_id}: {name}", partial(self._open, mould), aria_label=use)
                    text_element("span", shown_facts(self.words, mould))
                    if "design" in mould:
                        reopen = partial(self._open_design, mould_id)
                        says = self._says("open_design_of", name)
                        button(self.words["open_design_of"], reopen, aria_label=says)
                    if has_set(mould):
                        parts = partial(self.printed.open_registered, mould_id)
                        says = self._says("parts_of_set", name)
                        button(self.words["parts_of_set"], parts, aria_label=says)
                    forget = partial(self._change_list, partial(forget_mould, mould_id))
                    button(self.words["remove"], forget, aria_label=self._says("remove", name))

    def _says(self, key: str, name: str) -> str:
        return f"{self.words[key]}: {name}"

    def _keep(self) -> None:
        tree = what_counts(self.task.draft.tree)
        self.task.refuse_unknown_files()
        keep_mould(FitRequest.of(tree).mould)

    def _open_design(self, mould_id: str) -> None:
        """Take the design that a mould was made from: to print a part again, or for a new stamp."""
        try:
            self.design_form.replace(design_of(mould_id, self.session.uploads))
            ui.notify(self.words["design_replaced"])
        except MouldError as error:
            self.task.show_error(error)

    def _open(self, mould: Mapping[str, Any]) -> None:
        self.task.set_values(way_of(mould))
        self.task.start()

    def _shown(self, answer: tuple[dict[str, Any], bytes]) -> str:
        report, plot = answer
        self.taker.hide()
        self._rows = fit_result.rows_to_take(report)
        address = ""
        if plot:
            self.session.downloads["window.svg"] = plot
            address = f"/files/{self.session.token}/window.svg"
        return fit_result.fit_result(self.words, report, address)

    def _take_twin(self, made: tuple[Tree, dict[str, bytes], tuple[Message, ...]]) -> str:
        """Take a twin as the design, its files among the uploads; say how it was made."""
        tree, files, says = made
        uploads = self.session.uploads
        kept = {name: uploads.keep(raw, Path(name).suffix[1:]) for name, raw in files.items()}
        with self.listed:  # what is notified needs to know where it belongs
            self.design_form.replace(Design.of(with_upload_names(tree, kept)))
            ui.notify(self.words["design_replaced"])
        told = (self.words["twin_taken"], *map(self.words.said, says))
        return "".join(map(paragraph, told))

    def _take(self, place: int) -> None:
        if place >= len(self._rows):
            return
        try:
            self.task.refuse_unknown_files()
        except MouldError as error:
            self.task.show_error(error)
        else:
            tree = what_counts(self.task.draft.tree)
            self.taker.take(tree, self._rows[place], self.task.show_error)
