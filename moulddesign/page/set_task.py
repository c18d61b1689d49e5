"""The place of a set that was printed: a part for it, a new stamp, and what calipers read."""

from collections.abc import Mapping
from html import escape
from typing import Any, Final

from nicegui import ui

from moulddesign.core import MouldError, SpecError, say
from moulddesign.design import SET_FILE, Readings, zip_bytes
from moulddesign.page.design_form import DesignForm
from moulddesign.page.finding_list import findings_list
from moulddesign.page.markup import (
    button,
    element,
    html_area,
    html_table,
    paragraph,
    set_enabled,
    set_visible,
    text_element,
)
from moulddesign.page.own_list import registered_set, uploaded_set
from moulddesign.page.printed_sets import (
    ONLY,
    PART,
    PRINTS,
    JudgedPrints,
    NewParts,
    OpenSet,
    PartRequest,
    part_that_counts,
    sections_of,
)
from moulddesign.page.session import Session
from moulddesign.page.task_form import TaskForm

UPLOAD_SET_JS: Final = """async (event) => {
  const file = event.target.files[0];
  event.target.value = "";
  if (!file) return;
  const isAlone = file.name.toLowerCase().endsWith(".toml") && file.size < 1e6;
  emit(isAlone ? { kept: await file.text(), text: "", names: {} }
    : await window.uploadFile("set", file));
}"""
"""Uploads the zip of a set, or takes the text of its set.toml alone."""

FOR_SET: Final = "for-set-"
PART_ARCHIVE: Final = f"{FOR_SET}part.zip"
READ_FILE: Final = f"{FOR_SET}{SET_FILE}"


class SetTask:
    """A set that was printed: opened from the register or a file, it gets parts and readings."""

    def __init__(self, session: Session, design_form: DesignForm) -> None:
        self.session = session
        self.design_form = design_form
        self.words = design_form.words
        self._opened: OpenSet | None = None
        self._to_do: dict[str, Any] = {}

    def lay_out(self) -> None:
        """Make the place where a set is opened, and what is offered for it."""
        words = self.words
        text_element("h2", words["printed_set"])
        text_element("p", words["printed_set_help"])
        with element("label", "upload"):
            text_element("span", words["open_set"])
            element("input", type="file", accept=".zip,.toml", id="open-set").on(
                "change", lambda event: self._uploaded(event.args), js_handler=UPLOAD_SET_JS
            )
        self.wrong = html_area("notice")
        self.wrong._props["role"] = "status"  # noqa: SLF001
        with element("section", "printed-set", aria_label=words["printed_set"]) as self.place:
            self.facts = text_element("p", "", role="status")
            with element("p", "actions"):
                button(words["open_for_set"], self._take)
            text_element("h3", words["new_part"])
            self.part = TaskForm(
                self.session, self.design_form.schema, PartRequest, values={},
                sections=sections_of(PartRequest, ONLY), asked=part_that_counts,
            )  # fmt: skip
            self.part.lay_out(job=PART, name="part", show=self._shown_part, go="make_part")
            text_element("h3", words["calipers"])
            text_element("p", words["calipers_help"])
            self.prints = TaskForm(
                self.session, self.design_form.schema, Readings, values={},
                sections=sections_of(Readings, {}),
            )  # fmt: skip
            self.prints.lay_out(job=PRINTS, name="prints", show=self._shown_prints, go="judge")
            with element("p", "actions"):
                self.do = button(words["do_it"], self._prepare_part)
        set_visible(self.place, shown=False)

    def open_registered(self, mould_id: str) -> None:
        """Open the set of a mould of the register."""
        try:
            self._open(registered_set(mould_id, self.session.uploads))
        except MouldError as error:
            self._say_wrong(self.words.error(error))

    def _uploaded(self, answer: Mapping[str, Any]) -> None:
        if "error" in answer:
            self._say_wrong(self.words.upload_error(str(answer["error"])))
            return
        try:
            if not answer["kept"]:
                raise SpecError("open_set", SET_FILE, say("page.zip-without-set"))
            kept, text = str(answer["kept"]), str(answer["text"])
            self._open(uploaded_set(kept, text, answer["names"], self.session.uploads))
        except MouldError as error:
            self._say_wrong(self.words.error(error))

    def _say_wrong(self, text: str) -> None:
        self.wrong.set_content(paragraph(text, "error"))

    def _open(self, opened: OpenSet) -> None:
        self._opened, bore = opened, opened.found.bore
        self.wrong.set_content("")
        for task in (self.part, self.prints):
            task.more = opened.arguments
            task.answer.set_content("")
        self.part.set_values({})
        read = opened.found.readings
        self.prints.set_values({} if read is None else read.plain())
        self._offer_to_do({})
        says = self.words["set_facts"].format(
            name=opened.found.name, outline=self.words.word(bore.outline),
            width=f"{bore.width_mm:g}", height=f"{opened.found.sleeve_height_mm:.1f}",
        )  # fmt: skip
        self.facts.set_text(self.words.numbers(says))
        set_visible(self.place, shown=True)
        self.place.client.run_javascript("document.querySelector('.printed-set').scrollIntoView()")

    def _take(self) -> None:
        """Take the set's design, its sleeve and plunger held, to draw a new stamp for it."""
        opened = self._opened
        if opened is None:
            return
        try:
            own = self.session.design if opened.own is None else opened.own
            self.design_form.replace(own.more_for_set(opened.found, is_changed=True))
            ui.notify(self.words["design_replaced"])
            ui.run_javascript("document.querySelector('.page-head nav button').click()")
        except MouldError as error:
            self._say_wrong(self.words.error(error))

    def _shown_part(self, made: NewParts) -> str:
        """Offer the files of a part, and say what was found of it."""
        words, token = self.words, self.session.token
        name = f"{made.design.name}-{made.part}"
        meshes = [each for each in made.files if each.endswith(".stl")]
        for old in [each for each in self.session.downloads if each.startswith(FOR_SET)]:
            if old != READ_FILE:
                del self.session.downloads[old]
        self.session.downloads |= {f"{FOR_SET}{each}": made.files[each] for each in meshes}
        self.session.downloads[PART_ARCHIVE] = zip_bytes(made.files, name)
        links = [(f"{FOR_SET}{each}", f"{made.design.name}-{each}", each) for each in meshes]
        links.append((PART_ARCHIVE, f"{name}.zip", words["download_all"]))
        listed = "".join(
            f'<li><a download="{escape(saved)}" href="/files/{token}/{address}">'
            f"{escape(says)}</a></li>"
            for address, saved, says in links
        )
        found = findings_list(words, made.findings, made.cautions, raw_g=0.0, design=made.design)
        return f'<h4>{escape(made.design.name)}</h4><ul class="files">{listed}</ul>{found}'

    def _shown_prints(self, judged: JudgedPrints) -> str:
        """Say what the prints are, and offer to do what they ask for."""
        words, opened = self.words, self._opened
        if opened is not None:
            self._opened = OpenSet(found=judged.found, own=opened.own, folder=opened.folder)
            self.part.more = self.prints.more = self._opened.arguments
        self._offer_to_do(judged.to_do)
        rows = []
        for size, read in judged.rows:
            off = "" if read is None else f"{read - size.mm:+.2f}"
            if read is not None and abs(read - size.mm) > size.within_mm:
                off += " !"
            shown = "" if read is None else f"{read:.2f}"
            label = words.label_at(size.key)
            rows.append((label, f"{size.mm:.2f}", f"{size.within_mm:g}", shown, off))
        heads = ("", *(words[key] for key in ("designed_mm", "within_mm", "read_mm", "off_mm")))
        html = html_table(heads, rows, caption=words["calipers"])
        if judged.made is None:
            return html
        html += "".join(paragraph(words.said(each)) for each in judged.made.sentences)
        do = judged.made.to_do
        says = words.said(do)
        if judged.to_do:  # beside the button there is no command to type
            says = words[f"do_{do.id.partition('.')[2].replace('-', '_')}"].format(
                **{name: f"{value:.2f}" for name, value in do.values if name.endswith("_mm")}
            )
        html += paragraph(says, "verdict-line good" if judged.made.is_good else "verdict-line warn")
        if opened is not None and not opened.folder:
            self.session.downloads[READ_FILE] = judged.text.encode()
            address = f"/files/{self.session.token}/{READ_FILE}"
            html += (
                f'<p><a download="{SET_FILE}" href="{address}">'
                f"{escape(words['keep_readings'])}</a></p>"
            )
        return html

    def _offer_to_do(self, asked: dict[str, Any]) -> None:
        self._to_do = asked
        set_visible(self.do, shown=bool(asked))
        set_enabled(self.do, can=bool(asked))

    def _prepare_part(self) -> None:
        """Fill in the part that the prints ask for, and make it."""
        self.part.set_values(dict(self._to_do))
        self.part.start()
