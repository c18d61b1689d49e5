"""The form of the design: what is typed becomes a draft, and a good draft is built."""

from collections.abc import Callable, Mapping
from functools import cache
from itertools import count
from typing import Any, Final

from moulddesign.artwork.patterns import pattern_names, titles
from moulddesign.core import FileError, MouldError, SpecError, parse_toml
from moulddesign.design import OUTLINES, SOURCES, Design, Motif, library
from moulddesign.page.draft import (
    Draft,
    at_field,
    counting,
    every_field,
    flat,
    reached,
    read,
    sections,
    without_places,
)
from moulddesign.page.form_schema import Forms
from moulddesign.page.markup import Form, said
from moulddesign.page.session import Session
from moulddesign.page.texts import Texts
from moulddesign.page.uploads import DESIGN, refuse_strange, renamed

FORM_TEXTS: Final = ("less", "more", "own", "own_file", "remove", "further")
ELSEWHERE: Final = frozenset({"batch"})
"""Tables that another task asks for."""


@cache
def _sections() -> Any:  # noqa: ANN401 (sections of fields)
    return sections(Design.model_json_schema())


class Asking:
    """The design's form, undo and redo.

    Parameters
    ----------
    session : Session
        Is told each good design.
    words : Texts
        The language.
    asked : callable
        Called after each change, good or not.
    """

    def __init__(self, session: Session, words: Texts, asked: Callable[[], None]) -> None:
        self.session = session
        self.words = words
        self.asked = asked
        self.draft = Draft(session.design.plain(), Design)
        self.errors: dict[str, str] = {}
        self.blamed: dict[str, str] = {}
        self.shown_forms: list[Form] = []
        self.forms = Forms(
            words=words,
            choices=_choices(words),
            pictures=frozenset({"relief.layers.pattern"}),
        )
        self.fields = {field.path: field for field in every_field(_sections())}

    def lay_out(self) -> None:
        """Make the form, but for the tables that another task asks for."""
        said("h2", self.words["asked"], "first")
        self._add_form([s for s in _sections() if s.name not in ELSEWHERE], "design")

    def lay_out_batch(self) -> None:
        """Make the form of the tables that the batch asks for."""
        self._add_form([s for s in _sections() if s.name in ELSEWHERE], "batch")

    def _add_form(self, found: list[Any], prefix: str) -> None:
        form = Form(
            sections=[self.forms.section(section) for section in found],
            texts={key: self.words[key] for key in FORM_TEXTS},
            start=self._state(),
            prefix=prefix,
        )
        form.on("edit", lambda event: self._edited(*event.args))
        form.on("add", lambda event: self._added(event.args[0]))
        form.on("drop", lambda event: self._dropped(*event.args))
        form.on("turn", lambda event: self._turned(*event.args))
        self.shown_forms.append(form)

    def _judged(self) -> None:
        for form in self.shown_forms:
            form.judge(self._told)

    @property
    def _told(self) -> dict[str, str]:
        """What is wrong with the draft, and with the last design that was built."""
        return self.blamed | self.errors

    def back(self) -> None:
        """Take the last change back."""
        if self.draft.can_go_back:
            self.draft.back()
            self._judge(fill=True)

    def forth(self) -> None:
        """Make a change again that was taken back."""
        if self.draft.can_go_forth:
            self.draft.forth()
            self._judge(fill=True)

    def afresh(self) -> None:
        """Begin with the usual design; it can be taken back."""
        self.draft.replace(Design().plain())
        self._judge(fill=True)

    def take(self, design: Design) -> None:
        """Go on with another design; it can be taken back."""
        self.draft.replace(design.plain())
        self._judge(fill=True)

    def load(self, text: str, names: Mapping[str, str]) -> None:
        """Go on with the design in the text of a file, whose drawings were uploaded under names."""
        try:
            plain = parse_toml(text.removeprefix("\ufeff"), DESIGN)
        except FileError as error:
            self.session.page.say(SpecError("file", "the upload", error.reason))
            return
        try:
            tree = renamed(plain, names)
            self._refuse_strange(tree)
            design, notes = Design.of_file(tree)
            self.take(design)
            for note in notes:
                self.session.page.note(note)
        except MouldError as error:
            self.session.page.say(error)

    def blame(self, error: MouldError | None) -> None:
        """Show an error of a build at its field, or take the last one away.

        What is wrong with the draft stays: it was typed while the design before it was built.
        """
        self.blamed = {} if error is None else self._placed(error)
        self._judged()

    def _edited(self, path: str, typed: object, refused: str | None = None) -> None:
        field = self.fields[without_places(path)]
        if refused is not None:
            self.errors = {path: self.words.said(refused)}
            self._judged()
            return
        before = set(flat(self.draft.tree)[0])
        self.draft.put(path, read(field, typed))
        gone = before - set(flat(self.draft.tree)[0]) - {path}
        self._judge(fill=bool(gone) or path == "mould.kind")  # which shows other fields

    def _added(self, path: str) -> None:
        self.draft.add(path, self._new(path))
        self._judge(fill=True)

    def _new(self, path: str) -> dict[str, Any]:
        """Return what a new entry of a list holds at first."""
        layer = {SOURCES[0]: pattern_names()[0]}
        if path == "further_stamps":
            taken = {stamp.get("name") for stamp in self.draft.tree.get(path, ())}
            number = next(n for n in count(2) if str(n) not in taken)
            return {"name": str(number), "layers": [layer]}
        return layer if path.endswith(".layers") else {}

    def _dropped(self, path: str, place: int) -> None:
        self.draft.drop(path, place)
        self._judge(fill=True)

    def _turned(self, path: str, source: str) -> None:
        first = {"pattern": pattern_names()[0], "motif": next(iter(Motif)).value}
        self.draft.turn(path, source, first.get(source, "Text"))
        self._judge(fill=True)

    def _judge(self, *, fill: bool) -> None:
        """Wish for the draft if it is a design; say at its field what is wrong otherwise."""
        self.errors = {}
        try:
            tree = counting(self.draft.tree)
            self._refuse_strange(tree)
            design = Design.of(tree)
        except SpecError as error:
            self.errors = self._placed(error)
        else:
            self.blamed = {}
            self.session.wish(design)
        self.asked()
        if fill:
            state = self._state()
            for form in self.shown_forms:
                form.fill(state)
        else:
            self._judged()

    def _refuse_strange(self, tree: Mapping[str, Any]) -> None:
        refuse_strange(tree, Design, known=known_words(), shelf=self.session.shelf)

    def _placed(self, error: MouldError) -> dict[str, str]:
        """Return what is wrong, at the field that it belongs to."""
        path = at_field(error, self.draft.tree, self.fields)
        return {} if path is None else {path: self.words.need(error)}

    def _state(self) -> dict[str, Any]:
        values, counts = flat(self.draft.tree)
        for path in [path for path in counts if path.endswith(".layers")]:
            for place, layer in enumerate(reached(self.draft.tree, path.split("."))):
                source = next((name for name in SOURCES if name in layer), "")
                values[f"{path}.{place}.source"] = source
        for path, field in self.fields.items():
            values.setdefault(path, field.default if not field.optional else None)
        return {"values": values, "counts": counts, "errors": self._told}


@cache
def known_words() -> frozenset[str]:
    """Return the outlines and patterns that have a name: they are no files."""
    return frozenset({*OUTLINES, *pattern_names()})


def _choices(words: Texts) -> Mapping[str, tuple[tuple[str, str], ...]]:
    """Return the words that text fields take, where the schema leaves them open."""
    return {
        "pastry.outline": tuple((name, words.word(name)) for name in OUTLINES),
        "relief.layers.pattern": tuple((t.name, words.word(t.name)) for t in titles()),
        "outline": tuple((name, words.word(name)) for name in OUTLINES),
        "printer.machine": tuple((name, name) for name in library(None).machines),
        "printer.material": tuple((name, name) for name in library(None).materials),
    }
