"""The page of one tab: the form, the 3D view and the results."""

import json
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from nicegui import ui

from moulddesign.core import LANGUAGES, Finding, Message, MouldError, Verdict
from moulddesign.design import workshop_path
from moulddesign.page import markup
from moulddesign.page.address import encode_design
from moulddesign.page.delivery import card_alone, delivery, progress_line, steps_list
from moulddesign.page.design_form import DesignForm
from moulddesign.page.finding_actions import mend, shown_place
from moulddesign.page.finding_list import findings_list, in_order, part_names
from moulddesign.page.jobs import PieceFigures
from moulddesign.page.markup import (
    button,
    element,
    html_area,
    link,
    set_enabled,
    set_visible,
    text_element,
)
from moulddesign.page.session import ARCHIVE, MadeSet, Session
from moulddesign.page.tasks import TaskPages
from moulddesign.page.texts import Texts
from moulddesign.page.view_element import View3D

if TYPE_CHECKING:
    from moulddesign.design import Design

TASKS: Final = ("piece", "owned", "batch", "trial", "workshop")
MOST_CUT_MM: Final = 1000.0
"""Farther from the middle nothing is cut [mm]."""
LOADABLE: Final = ".toml,.zip,.svg,.png,.jpg,.jpeg,.ttf,.otf"
REVEAL_JS: Final = """setTimeout(() => {
  document.querySelector(".cards > .card")?.scrollIntoView({ block: "end" });
  if (document.activeElement === document.body) // the button that was pressed was off meanwhile
    document.getElementById("results").focus({ preventScroll: true });
}, 200)"""
"""Shows what was made, once it is laid out: on a phone the first card; keys go on from there."""
REVEAL_NOTICE_JS: Final = """setTimeout(() =>
  document.querySelector(".notice:not(:empty)")?.scrollIntoView({ block: "center" }), 200)"""
"""Shows what was said of a file: on a phone it stands far below."""
FINDING_JS: Final = """(event) => {
  const { mend, place } = event.target.closest("[data-mend], [data-place]")?.dataset ?? {};
  if (mend ?? place) emit(Number(mend ?? place), mend !== undefined);
}"""
UPLOAD_FILES_JS: Final = """async (event) => {
  const drawings = { svg: "artwork", png: "artwork", jpg: "artwork", jpeg: "artwork" };
  const kinds = { ...drawings, ttf: "font", otf: "font", toml: "design" };
  const files = [...event.target.files];
  event.target.value = "";
  let taken = { text: null, names: {}, error: null };
  for (const file of files) {
    const ending = file.name.split(".").pop().toLowerCase();
    if (ending === "toml" && file.size < 1e6) { taken.text = await file.text(); continue; }
    const kind = ending === "zip" ? "set" : kinds[ending] ?? "none";
    const answer = await window.uploadFile(kind, file);
    if (answer.error) taken.error = answer.error;
    else if (kind === "set") taken = { ...taken, ...answer };
    else taken.names[file.name] = answer.name;
  }
  if (files.length) emit(taken);
}"""
"""Uploads a design file, alone or with its drawings, or a zip of a set."""


class Page:
    """The page of one tab: it passes requests to the session, and shows what the session tells."""

    def __init__(self, session: Session, words: Texts) -> None:
        self.session = session
        self.words = words
        self.design_form = DesignForm(session, words, self._design_changed)
        self.task_pages = TaskPages(session, self.design_form)
        self._failed = False
        self._found: list[Finding] = []
        self._stages_done = 0
        self._files_design: Design | None = None  # whose files were asked for last
        self._shown_design: Design | None = None  # whose files are shown
        self._is_writing = False
        session.listener = self

    def lay_out(self) -> None:
        """Make the elements; the first picture is asked for once a browser shows them."""
        for place in ("form", "view", "results"):
            link(self.words[f"skip_{place}"], f"#{place}", "skip-link")
        self._head()
        with element("div", "page-main") as main:  # within the framework's `main`
            self._main = main
            with element("div", "workspace") as bench:
                self._places = {TASKS[0]: bench}
                self._workspace()
        self._set_server_gone_texts()

    def _set_server_gone_texts(self) -> None:
        """Put our own words in the box that the framework shows when the server is gone."""
        says = json.dumps([self.words["server_gone"], self.words["server_gone_help"]])
        ui.run_javascript(
            "const box = document.getElementById('popup'); box.setAttribute('role', 'alert'); "
            f"{says}.forEach((text, place) => {{ box.children[place].textContent = text; }})"
        )

    def _workspace(self) -> None:
        words = self.words
        # The choices come first for keys, so that they and the button are reached soon.
        with element("section", "form-panel", id="form", tabindex="-1", aria_label=words["design"]):
            with element("div", "panel-head"):
                text_element("h2", words["your_piece"], "first")
                self.name = text_element("p", self.session.design.name, "design-name")
            self.design_form.lay_out_choices()
            with element("p", "workshop-line"):
                self.workshop = text_element("span", "")
                self.workshop_button = button("", partial(self.show_task, "workshop"))
            self._say_workshop()
            with element("details", "all-settings"):
                text_element("summary", words["all_settings"])
                self._design_file()
                self.design_form.lay_out()
            with element("div", "make-bar"):
                self.write_button = button(
                    words["write_files"], self._request_files, "primary", id="make"
                )
        with element("div", "shown"):
            with element("div", "stage"):
                with element("section", "view-panel", id="view", aria_label=words["view"]):
                    self.view = View3D(words)
                    self.view.on("without", lambda _: self.session.picture())
                    self.view.on("layer", lambda event: self.design_form.move_layer(event.args))
                    self.view.on("face", lambda event: self.design_form.change_face(event.args))
                    self.view.on("share", lambda event: self.design_form.choose_share(event.args))
                    self.view.on("cut", lambda event: self._cut_elsewhere(*event.args))
                self.strip = html_area("strip")
                self.strip._props.update({"role": "group", "aria-label": words["one_piece"]})  # noqa: SLF001
            with element(
                "section", "results-panel", id="results", tabindex="-1", aria_label=words["results"]
            ):
                self._results()

    def _cut_elsewhere(self, at_mm: object, with_parts: object) -> None:
        if isinstance(at_mm, int | float) and abs(at_mm) < MOST_CUT_MM:
            self.session.cut_at(float(at_mm), with_parts=bool(with_parts))

    def _say_workshop(self) -> None:
        """Say what the design takes from the workshop, and offer to tell or change it."""
        design = self.session.design
        says = self.words["workshop_line"].format(
            machine=design.printer.machine, material=design.printer.material,
            step=f"{design.scale.resolution_g:g}",
        )  # fmt: skip
        self.workshop.set_text(self.words.numbers(says))
        key = "workshop_change" if workshop_path().is_file() else "workshop_tell"
        self.workshop_button.set_text(self.words[key])  # type: ignore[attr-defined]

    def _design_file(self) -> None:
        with element("p", "actions"):
            link(
                self.words["download_design"],
                f"/files/{self.session.token}/design.toml",
                "download-design",
                download="",
            )
            self._offer_to_load()

    def _offer_to_load(self) -> None:
        """Offer to go on with a design file, with the drawings that it names, or a whole set."""
        with element("label", "upload"):
            text_element("span", self.words["open_design"])
            element("input", type="file", accept=LOADABLE, multiple="").on(
                "change", lambda event: self._load(event.args), js_handler=UPLOAD_FILES_JS
            )

    async def _load(self, taken: dict[str, Any]) -> None:
        if taken["error"] is not None or taken["text"] is None:
            text = self.words.upload_error(taken["error"] or "no_design_file")
            self.notice.set_content(markup.paragraph(text))
        else:
            await self.design_form.load(taken["text"], taken["names"])
        self.notice.client.run_javascript(REVEAL_NOTICE_JS)

    def show_task(self, task: str) -> None:
        """Show one task; the first time it is laid out."""
        if task not in self._places:
            with (
                self._main,
                element("section", "task", aria_label=self.words[f"task_{task}"]) as place,
            ):
                self._places[task] = place
                getattr(self.task_pages, task)()
        if task == "batch":
            self.task_pages.show_own_moulds()
        for name, place in self._places.items():
            set_visible(place, shown=name == task)
        for name, tab in self._tabs.items():
            tab._props["aria-current"] = "page" if name == task else "false"  # noqa: SLF001
            tab.update()

    def _head(self) -> None:
        words = self.words
        with element("header", "page-head"):
            text_element("h1", words["title"])
            with element("nav", aria_label=words["tasks"]):
                self._tabs = {
                    name: button(
                        words[f"task_{name}"], partial(self.show_task, name), name,
                        aria_current="page" if name == TASKS[0] else "false",
                    )
                    for name in TASKS
                }  # fmt: skip
            with element("div", "page-tools"):
                self.undo = self._tool("undo", "\u21b6", self.design_form.undo)
                self.redo = self._tool("redo", "\u21b7", self.design_form.redo)
                self._tool("reset", "\u27f2", self.design_form.reset)
                self._offer_languages()
        self._update_undo()

    def _tool(self, name: str, sign: str, on_click: Callable[[], None]) -> ui.element:
        """Return a button with a sign; on a phone its word is for those who listen."""
        made = button("", on_click, "tool", id=name)
        with made:
            text_element("span", sign, aria_hidden="true")
            text_element("span", self.words[name], "word")
        return made

    def _offer_languages(self) -> None:
        """Lay out the choice of a language: one stop for keys, however many there are."""
        with element("select", id="language", aria_label=self.words["language"]) as choice:
            for code in LANGUAGES:
                one = text_element("option", self.words.word(code), lang=code, value=code)
                if code == self.words.language:
                    one.props("selected")
        choice.on(
            "change",
            js_handler="(event) => { const to = new URL(location); "
            "to.searchParams.set('in', event.target.value); location.assign(to); }",
        )

    def _results(self) -> None:
        words = self.words
        text_element("h2", words["results"], "unseen")
        self.notice = html_area("notice")
        self.notice._props["role"] = "status"  # noqa: SLF001
        self.problem = html_area("notice")
        self.problem._props["role"] = "status"  # noqa: SLF001
        with element("p", "check-status", role="status"):
            self.check_status = text_element("span", words["checking"])
            self.stop_button = button(words["stop"], self.session.cancel)
            self.check_again = button(words["check_again"], self._check_again)
        self.remarks = html_area("remarks")
        self.findings = html_area("findings")
        self.findings.on(
            "click", lambda event: self._finding_pressed(*event.args), js_handler=FINDING_JS
        )
        with element("div", "making", role="status") as self.making:
            self.progress = html_area("progress")
            button(words["cancel"], self.session.cancel_writing)
        self.files_status = text_element("p", "", "files-status", role="status")
        self.links = html_area("links")
        self.steps = html_area("steps")
        with element("details", "all-figures"):
            text_element("summary", words["all_figures"])
            self.weights = html_area("figures")
        set_visible(self.check_again, shown=False)
        set_visible(self.making, shown=False)

    def _finding_pressed(self, number: int, to_mend: bool) -> None:  # noqa: FBT001 (from a script)
        """Make the smallest change that mends a finding, or show its place."""
        if number >= len(self._found):
            return
        found = self._found[number]
        if to_mend:
            changes = mend(found, self.session.design)
            if changes is not None:
                self.design_form.change(changes)
            return
        place = shown_place(found, part_names(self._found))
        if place is not None:
            self.view.show_place(place | {"title": found.title(self.words.language)})

    def _check_again(self) -> None:
        self.session.request(self.session.design)

    def _request_files(self) -> None:
        if self._is_writing:  # pressed twice
            return
        self._files_design = self.session.design
        self.show_writing(active=True)
        if self._failed:
            self.session.write_failing()
        else:
            self.session.write()

    def _design_changed(self) -> None:
        """Keep the address, the buttons and the files in step with the design."""
        self.notice.set_content("")
        encoded = encode_design(self.session.design)
        ui.run_javascript(
            "{ const to = new URL(location); to.searchParams.set('design', "
            f"'{encoded}'); history.replaceState(null, '', to); }}"
        )
        self.name.set_text(self.session.design.name)
        self._say_workshop()
        self._update_undo()
        self._update_files_status()

    def _update_files_status(self) -> None:
        """Mark files of another design as old: they are no longer offered."""
        is_offered = self._shown_design == self.session.design
        is_old = not is_offered and self._files_design not in {None, self.session.design}
        self.files_status.set_text(self.words["files_outdated"] if is_old else "")
        for shown in (self.links, self.steps):
            shown.classes(remove="old") if is_offered else shown.classes(add="old")
        made = "make_again" if self._files_design is not None else "write_files"
        if self.session.design.own_mould is not None:
            made = "make_card"
        says = self.words["write_files_failing" if self._failed else made]
        self.write_button.set_text(says)  # type: ignore[attr-defined]

    def _show_progress(self, done: int) -> None:
        self._stages_done = done
        self.progress.set_content(progress_line(self.words, done))

    def _update_undo(self) -> None:
        set_enabled(self.undo, can=self.design_form.draft.can_undo)
        set_enabled(self.redo, can=self.design_form.draft.can_redo)

    # what the session tells

    def show_figures(self, piece: PieceFigures) -> None:
        """Show weights and sizes."""
        words = self.words
        self.weights.set_content(words.numbers(markup.weights_and_sizes(words, piece)))
        self.strip.set_content(words.numbers(markup.weights_line(words, piece)))
        self.remarks.set_content(words.numbers(markup.piece_remarks(words, piece)))
        self.design_form.show_piece(piece)
        portion = self.session.design.portion
        share = 100.0 * portion.crust_share if piece.figures.is_filled else None
        self.view.set_piece(share, {c.name: words.food(c.name) for c in portion.centres})
        self._show_progress(1)

    def show_resized(self, piece: PieceFigures) -> None:
        """Show what is drawn in another size, and what to weigh for it."""
        self.view.resize(piece.width_mm, piece.height_mm)
        self.strip.set_content(self.words.numbers(markup.weights_line(self.words, piece)))

    def show_bodies(self, address: str, serial: int, stage: str) -> None:
        """Draw what lies at an address."""
        if stage == "picture":
            self.view.show_picture(address, serial)
        else:
            self.view.show(address, serial, stage=stage)
        if stage == "mould":
            self._show_progress(2)

    def show_checking(self, *, active: bool) -> None:
        """Say that findings are being looked for, or wait; old ones are not shown meanwhile."""
        self._failed = False
        self.findings.set_content("")
        self.check_status.set_text(self.words["checking" if active else "unchecked"])
        set_visible(self.stop_button, shown=active)
        set_visible(self.check_again, shown=not active)

    def show_findings(
        self, findings: tuple[Finding, ...], cautions: tuple[Message | str, ...]
    ) -> None:
        """Show findings and cautions."""
        self._failed = any(found.verdict is Verdict.FAIL for found in findings)
        self._found = in_order(findings)
        self.check_status.set_text("")
        set_visible(self.stop_button, shown=False)
        set_visible(self.check_again, shown=False)
        piece = self.design_form.piece
        raw_g = 0.0 if piece is None else piece.figures.split.raw_g
        listed = findings_list(
            self.words, findings, cautions, raw_g=raw_g, design=self.session.design
        )
        mould = self.session.design.own_mould
        if mould is not None:
            listed = markup.paragraph(self.words["existing"].format(mould=mould.name)) + "".join(
                markup.paragraph(self.words.said(text)) for text in cautions
            )
        self.findings.set_content(self.words.numbers(listed))
        self._show_progress(3)
        self._update_files_status()

    def show_error(self, error: MouldError | None) -> None:
        """Show what cannot be made, or that all is well."""
        self.design_form.show_build_error(error)
        if error is None:
            self.problem.set_content("")
            return
        self.show_checking(active=False)
        sentence = self.words.error(error)
        self.problem.set_content(
            markup.paragraph(self.words["nothing_made"]) + markup.paragraph(sentence)
        )

    def show_notice(self, error: MouldError) -> None:
        """Show what was wrong with the address or a file, until the design is changed."""
        self.notice.set_content(markup.paragraph(self.words.error(error)))

    def show_note(self, note: Message) -> None:
        """Show a note about a file that was opened, until the design is changed."""
        self.notice.set_content(markup.paragraph(self.words.said(note)))

    def show_writing(self, *, active: bool) -> None:
        """Say that files are being made, or that this has come to an end, be it without them."""
        self._is_writing = active
        set_enabled(self.write_button, can=not active)
        set_visible(self.making, shown=active)
        self._update_files_status()

    def show_files(self, token: str, design: "Design", made: MadeSet) -> None:
        """Show what to print, what to weigh, and everything; and how a press is used."""
        piece = self.design_form.piece
        if piece is None:  # they are offered again with its figures
            return
        self._files_design = self._shown_design = design
        if design.own_mould is None:
            cards = delivery(self.words, token, made.files, piece, archive=ARCHIVE)
        else:
            cards = card_alone(self.words, token, made.files, piece)
        self.links.set_content(self.words.numbers(cards))
        self.steps.set_content(steps_list(self.words, token, made.steps) if made.steps else "")
        self._update_files_status()

    def reveal_files(self) -> None:
        """Bring what was just made into view."""
        self.links.client.run_javascript(REVEAL_JS)

    def show_no_files(self) -> None:
        """Show that there is nothing to download."""
        self._files_design = self._shown_design = None
        self.links.set_content("")
        self.steps.set_content("")
        self._update_files_status()
