"""Plain HTML elements and our own two browser components, as the framework wants them."""

from collections.abc import Callable
from typing import Any

from nicegui import ui
from nicegui.elements import scene as _stock  # its three.js is what our own view draws with
from nicegui.elements.mixins.text_element import TextElement

__all__ = ["Form", "Sight", "button", "enable", "link", "live", "plain", "said"]

assert _stock  # noqa: S101 (imported so that its script is served)


class Form(ui.element, component="form.js"):
    """A form that is drawn from a description.

    Parameters
    ----------
    sections : list of dict
        From `described.Forms`.
    texts : dict of str to str
        Words of its own buttons.
    start : dict
        Values by path, lengths of lists, errors by path.
    prefix : str
        Begins every id, so that two forms can stand on a page.
    """

    def __init__(
        self,
        *,
        sections: list[dict[str, Any]],
        texts: dict[str, str],
        start: dict[str, Any],
        prefix: str,
    ) -> None:
        super().__init__()
        self._props.update(sections=sections, texts=texts, start=start, prefix=prefix)

    def fill(self, state: dict[str, Any]) -> None:
        """Show other values."""
        self.run_method("fill", state)

    def judge(self, errors: dict[str, str]) -> None:
        """Show what is wrong, at its fields."""
        self.run_method("judge", errors)


class Sight(ui.element, component="scene.js"):
    """The pastry and its mould in 3D.

    Parameters
    ----------
    texts : dict of str to str
        Words of its controls.
    names : dict of str to str
        What bodies are called.
    """

    def __init__(self, *, texts: dict[str, str], names: dict[str, str]) -> None:
        super().__init__()
        self._props.update(texts=texts, names=names)

    def show(self, address: str, serial: int, *, stage: str) -> None:
        """Draw what lies at an address: the pastry first, then the mould beside it."""
        self.run_method("show", address, serial, stage)

    def instead(self, address: str, serial: int) -> None:
        """Show a picture, where nothing can be drawn in 3D."""
        self.run_method("instead", address, serial)


def plain(tag: str, kind: str = "", **attributes: str) -> ui.element:
    """Return an element of a class with attributes; `_` in their names stands for `-`."""
    made = ui.element(tag)
    if kind:
        made.classes(kind)
    made._props.update({name.rstrip("_").replace("_", "-"): v for name, v in attributes.items()})  # noqa: SLF001
    return made


def said(tag: str, text: str, kind: str = "", **attributes: str) -> TextElement:
    """Return an element that holds a text."""
    made = TextElement(tag=tag, text=text)
    if kind:
        made.classes(kind)
    made._props.update({name.rstrip("_").replace("_", "-"): v for name, v in attributes.items()})  # noqa: SLF001
    return made


def button(text: str, on_click: Callable[[], Any], kind: str = "", **attributes: str) -> ui.element:
    """Return a button that does something on the server."""
    made = said("button", text, kind, type="button", **attributes)
    made.on("click", lambda _: on_click(), js_handler="() => emit()")
    return made


def enable(element: ui.element, *, can: bool) -> None:
    """Let a button be pressed, or not."""
    element._props["disabled"] = not can  # noqa: SLF001
    element.update()


def link(text: str, href: str, kind: str = "", **attributes: str) -> ui.element:
    """Return a link."""
    return said("a", text, kind, href=href, **attributes)


def live(kind: str = "") -> ui.html:
    """Return a place for HTML of our own making, whose texts are escaped already."""
    return ui.html("", sanitize=False).classes(kind)
