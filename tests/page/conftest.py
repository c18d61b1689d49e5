"""A page that is served for real, and a real browser on it that may not ask anybody else."""

from collections.abc import Iterator

import pytest
from page.person import ARGUMENTS, CHROMIUM, Served, ended, started


@pytest.fixture(scope="session")
def served() -> Iterator[Served]:
    page = started("--port", "0")
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


@pytest.fixture
def visit(browser, served):
    """Return what opens the page in a fresh profile; the test fails on any call to elsewhere."""
    opened, strange, wrong = [], [], []

    def go(path: str = "", *, without_webgl: bool = False, **profile):
        context = browser.new_context(**({"viewport": {"width": 1400, "height": 900}} | profile))
        context.set_default_timeout(180_000)
        opened.append(context)
        page = context.new_page()
        if without_webgl:
            page.add_init_script("HTMLCanvasElement.prototype.getContext = () => null")
        own = (served.address, served.address.replace("http", "ws"), "data:", "blob:")
        page.on("request", lambda r: None if r.url.startswith(own) else strange.append(r.url))
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.goto(served.address + path)
        return page

    yield go
    for context in opened:
        context.close()
    assert strange == []
    assert wrong == []
