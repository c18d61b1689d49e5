"""A page that is served for real, and a real browser on it that may not ask anybody else."""

from collections.abc import Iterator
from functools import partial

import pytest
from kept_designs import FILES
from page.person import ARGUMENTS, CHROMIUM, Served, ended, started

WINDOW = {"viewport": {"width": 1200, "height": 640}, "reduced_motion": "reduce"}
"""Just wide enough for three columns, and turned at once: fewer pixels to draw without a card."""


@pytest.fixture(scope="session")
def settings_folder(tmp_path_factory):
    """Return where the page that is served keeps workshop and moulds."""
    return tmp_path_factory.mktemp("settings")


@pytest.fixture(scope="session")
def served(settings_folder, request) -> Iterator[Served]:
    own = {"MOULDDESIGN_WORKSHOP": str(settings_folder / "workshop.toml")}
    ahead = request.config.option.markexpr != "not slow"
    page = started(str(FILES["chestnut-75"]), "--port", "0", ahead=ahead, **own)
    yield page
    ended(page)


@pytest.fixture(scope="session")
def browser():
    if CHROMIUM is None:
        pytest.skip("no chromium is installed; apt-get install chromium")
    from playwright.sync_api import sync_playwright  # noqa: PLC0415

    with sync_playwright() as tool:
        made = tool.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield made
        made.close()


@pytest.fixture(scope="session")
def tab(browser):
    """Return a tab that tests take in turn: its scripts are fetched and compiled once."""
    context = browser.new_context(**WINDOW)
    context.set_default_timeout(180_000)
    yield context.new_page()
    context.close()


def forgotten(page) -> None:
    """Leave a page, and nothing of it in its profile."""
    page.evaluate("localStorage.clear(); sessionStorage.clear()")
    page.goto("about:blank")
    page.context.clear_cookies()


@pytest.fixture
def visit(browser, served, tab):
    """Return what opens the page in an empty profile; the test fails on any call to elsewhere."""
    left, strange, wrong = [], [], []
    own = (served.address, served.address.replace("http", "ws"), "data:", "blob:", "about:")
    seen = {
        "request": lambda request: request.url.startswith(own) or strange.append(request.url),
        "pageerror": lambda error: wrong.append(str(error)),
    }

    def go(path: str = "", *, without_webgl: bool = False, **profile):
        if left or without_webgl or profile:  # a second tab, or one that the next must not have
            context = browser.new_context(**(WINDOW | profile))
            context.set_default_timeout(180_000)
            page = context.new_page()
            left.append(context.close)
        else:
            page = tab
            left.append(partial(forgotten, page))
        if without_webgl:
            page.add_init_script("HTMLCanvasElement.prototype.getContext = () => null")
        for event, see in seen.items():
            page.on(event, see)
            left.append(partial(page.remove_listener, event, see))
        page.goto(served.address + path)
        return page

    yield go
    for leave in left:
        leave()
    assert strange == []
    assert wrong == []
