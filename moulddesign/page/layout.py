"""The page of one tab: what is asked, what is seen, what comes of it."""

import json
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from nicegui import ui

from moulddesign.core import Finding, Message, MouldError, Verdict
from moulddesign.page import markup
from moulddesign.page.design_form import Asking
from moulddesign.page.jobs import Piece
from moulddesign.page.markup import Sight, button, enable, link, live, plain, said
from moulddesign.page.session import WHOLE, Session
from moulddesign.page.tasks import Bench
from moulddesign.page.texts import Texts
from moulddesign.page.uploads import packed

if TYPE_CHECKING:
    from moulddesign.design import Design

VIEW_TEXTS: Final = (
    "view_says", "view_keys", "shown", "pastry_only", "everything", "apart", "cut", "uncut",
    "cut_front", "cut_side", "cut_level", "cut_at", "see_through", "as_at_first", "key", "crust",
    "first_picture", "parts_follow", "no_webgl",
)  # fmt: skip

TASKS: Final = ("piece", "owned", "trial", "batch")
BODIES: Final = ("pastry", "filling", "centre", "sleeve", "stamp", "plunger", "block", "master")
LOADED: Final = ".toml,.zip,.svg,.png,.jpg,.jpeg,.ttf,.otf"
TAKE_FILES: Final = """async (event) => {
  const drawings = { svg: "artwork", png: "artwork", jpg: "artwork", jpeg: "artwork" };
  const kinds = { ...drawings, ttf: "font", otf: "font", toml: "design" };
  const files = [...event.target.files];
  event.target.value = "";
  let taken = { text: null, names: {}, error: null };
  for (const file of files) {
    const ending = file.name.split(".").pop().toLowerCase();
    if (ending === "toml" && file.size < 1e6) { taken.text = await file.text(); continue; }
    const kind = ending === "zip" ? "set" : kinds[ending] ?? "none";
    const answer = await window.uploaded(kind, file);
    if (answer.error) taken.error = answer.error;
    else if (kind === "set") taken = { ...taken, ...answer };
    else taken.names[file.name] = answer.name;
  }
  if (files.length) emit(taken);
}"""
"""Takes a design file, alone or with its drawings, or a zip of a set; names stay names."""


class Page:
    """The page of one tab; it tells the session what is asked, and shows what it answers.

    Parameters
    ----------
    session : Session
        The tab's work.
    words : Texts
        The language.
    """

    def __init__(self, session: Session, words: Texts) -> None:
        self.session = session
        self.words = words
        self.asking = Asking(session, words, self._asked)
        self.bench = Bench(session, self.asking)
        self._failed = False
        self._written: Design | None = None
        self._is_making = False
        session.shown = self

    def lay_out(self) -> None:
        """Make the elements, and ask for the first picture."""
        link(self.words["skip"], "#asked", "skip")
        self._head()
        with plain("main") as main:
            self._main = main
            with plain("div", "bench") as bench:
                self._places = {TASKS[0]: bench}
                self._bench()
                self._jumps()
        self._say_if_gone()
        self.session.wish(self.session.design)

    def _say_if_gone(self) -> None:
        """Put our own words in the box that the framework shows when the server is gone."""
        says = json.dumps([self.words["gone"], self.words["gone_says"]])
        ui.run_javascript(
            "const box = document.getElementById('popup'); box.setAttribute('role', 'alert'); "
            f"{says}.forEach((text, place) => {{ box.children[place].textContent = text; }})"
        )

    def _bench(self) -> None:
        with plain("section", "asking", id="asked", aria_label=self.words["asked"]):
            self.asking.lay_out()
        with plain("section", "seeing", id="seen", aria_label=self.words["view"]):
            self.sight = Sight(
                texts={key: self.words[key] for key in VIEW_TEXTS},
                names={name: self.words.word(name) for name in BODIES},
            )
            self.sight.on("without", lambda _: self.session.picture())
        with plain("section", "coming", id="came", aria_label=self.words["result"]):
            self._results()

    def _offer_to_load(self) -> None:
        """Offer to go on with a design file, with the drawings that it names, or a whole set."""
        with plain("label", "own"):
            said("span", self.words["load"])
            plain("input", type="file", accept=LOADED, multiple="").on(
                "change", lambda event: self._load(event.args), js_handler=TAKE_FILES
            )

    def _load(self, taken: dict[str, Any]) -> None:
        if taken["error"] is not None or taken["text"] is None:
            text = taken["error"] or self.words["no_design"]
            self.notice.set_content(markup.paragraph(self.words.said(text)))
        else:
            self.asking.load(taken["text"], taken["names"])

    def turn_to(self, task: str) -> None:
        """Show one task; the first time it is laid out."""
        if task not in self._places:
            with (
                self._main,
                plain("section", "work", aria_label=self.words[f"task_{task}"]) as place,
            ):
                self._places[task] = place
                getattr(self.bench, task)()
        for name, place in self._places.items():
            self._show(place, shown=name == task)
        for name, tab in self._tabs.items():
            tab._props["aria-current"] = "page" if name == task else "false"  # noqa: SLF001
            tab.update()

    def _head(self) -> None:
        words = self.words
        with plain("header", "head"):
            said("h1", words["title"])
            with plain("nav", aria_label=words["tasks"]):
                self._tabs = {
                    name: button(
                        words[f"task_{name}"], partial(self.turn_to, name),
                        aria_current="page" if name == TASKS[0] else "false",
                    )
                    for name in TASKS
                }  # fmt: skip
            with plain("div", "tools"):
                self.back = button(words["back"], self.asking.back, id="back")
                self.forth = button(words["forth"], self.asking.forth, id="forth")
                button(words["afresh"], self.asking.afresh)
                self._offer_other_language()
        self._offer_steps()

    def _offer_other_language(self) -> None:
        code = self.words["language_code"]
        other = said(
            "a", self.words["language_other"], lang=code, hreflang=code, href=f"?in={code}"
        )
        other.on(
            "click",
            js_handler="(event) => { event.preventDefault(); const to = new URL(location); "
            f"to.searchParams.set('in', '{code}'); location.assign(to); }}",
        )

    def _results(self) -> None:
        words = self.words
        self.notice = live("trouble")
        self.notice._props["role"] = "status"  # noqa: SLF001
        self.trouble = live("trouble")
        self.trouble._props["role"] = "status"  # noqa: SLF001
        said("h2", words["one_piece"], "first")
        self.weights = live("figures")
        said("h2", words["findings"])
        with plain("p", "state", role="status"):
            self.state = said("span", words["checking"])
            self.stop = button(words["stop"], self.session.cancel)
            self.again = button(words["check_again"], self._check_again)
        self.findings = live("findings")
        said("h2", words["files"])
        with plain("p", "making"):
            self.make = button(words["make_files"], self._make_files, "strong")
            link(words["save"], f"/files/{self.session.token}/design.toml", "save", download="")
            self._offer_to_load()
        self.files_say = said("p", "", "files-say", role="status")
        self.links = live("links")
        self._show(self.again, shown=False)

    def _jumps(self) -> None:
        """Links between the three parts, for a phone, where they stand one below the other."""
        with plain("nav", "jumps", aria_label=self.words["parts"]):
            for place, word in (("seen", "view"), ("asked", "form"), ("came", "figures_and_files")):
                link(self.words[word], f"#{place}")

    def _check_again(self) -> None:
        self.session.wish(self.session.design)

    def _make_files(self) -> None:
        if self._is_making:  # pressed twice
            return
        self._written = self.session.design
        self.making(going_on=True)
        if self._failed:
            self.session.write_failing()
        else:
            self.session.write()

    def _asked(self) -> None:
        """Keep the address, the buttons and the files in step with the design."""
        self.notice.set_content("")
        packed_design = packed(self.session.design)
        ui.run_javascript(
            "{ const to = new URL(location); to.searchParams.set('design', "
            f"'{packed_design}'); history.replaceState(null, '', to); }}"
        )
        self._offer_steps()
        self._say_of_files()

    def _say_of_files(self) -> None:
        is_old = self._written not in {None, self.session.design}
        says = "files_old" if is_old else "making_files" if self._is_making else ""
        self.files_say.set_text(self.words[says] if says else "")

    def _offer_steps(self) -> None:
        enable(self.back, can=self.asking.draft.can_go_back)
        enable(self.forth, can=self.asking.draft.can_go_forth)

    @staticmethod
    def _show(element: ui.element, *, shown: bool) -> None:
        element._props["hidden"] = not shown  # noqa: SLF001
        element.update()

    # what the session tells

    def figures(self, piece: Piece) -> None:
        """Show weights and sizes."""
        self.weights.set_content(markup.weights(self.words, piece))

    def bodies(self, address: str, serial: int, stage: str) -> None:
        """Draw what lies at an address."""
        if stage == "picture":
            self.sight.instead(address, serial)
        else:
            self.sight.show(address, serial, stage=stage)

    def checking(self, *, going_on: bool) -> None:
        """Say that findings are being looked for, or wait; old ones are not shown meanwhile."""
        self._failed = False
        self.findings.set_content("")
        self.state.set_text(self.words["checking" if going_on else "unchecked"])
        self._show(self.stop, shown=going_on)
        self._show(self.again, shown=not going_on)

    def judged(self, findings: tuple[Finding, ...], cautions: tuple[Message | str, ...]) -> None:
        """Show findings and cautions."""
        self._failed = any(found.verdict is Verdict.FAIL for found in findings)
        self.state.set_text("")
        self._show(self.stop, shown=False)
        self._show(self.again, shown=False)
        self.findings.set_content(markup.findings(self.words, findings, cautions))
        self.make.set_text(  # type: ignore[attr-defined]
            self.words["make_files_all_the_same" if self._failed else "make_files"]
        )

    def wrong(self, error: MouldError | None) -> None:
        """Show what cannot be made, or that all is well."""
        self.asking.blame(error)
        if error is None:
            self.trouble.set_content("")
            return
        self.checking(going_on=False)
        sentence = self.words.error(error)
        self.trouble.set_content(
            markup.paragraph(self.words["nothing_made"]) + markup.paragraph(sentence)
        )

    def say(self, error: MouldError) -> None:
        """Show what was wrong with the address or a file, until the design is changed."""
        self.notice.set_content(markup.paragraph(self.words.error(error)))

    def note(self, note: Message) -> None:
        """Show what is worth knowing of a file that was taken, until the design is changed."""
        self.notice.set_content(markup.paragraph(self.words.said(note)))

    def making(self, *, going_on: bool) -> None:
        """Say that files are being made, or that this has come to an end, be it without them."""
        self._is_making = going_on
        enable(self.make, can=not going_on)
        self._say_of_files()

    def files(self, token: str, sizes: dict[str, int]) -> None:
        """Show what can be downloaded."""
        self.links.set_content(markup.files(self.words, token, sizes, whole=WHOLE) if sizes else "")
