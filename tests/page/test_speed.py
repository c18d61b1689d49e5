"""How long a change takes until it is drawn, and what twenty of them leave behind."""

import time
from pathlib import Path
from statistics import median

import pytest
from page.person import (
    drawn,
    ended,
    memory_mb,
    picked,
    processes,
    redrawn,
    started,
    typed,
)

pytestmark = pytest.mark.slow

FIRST_S = 3.0
WEIGHT_S = 0.7
PATTERN_S = 1.2
LEFT_MB = 50.0
MOST_MB = 900.0
CLOSED_MB = 100.0
"""What was promised, on two cores that do nothing else, with software rendering."""

PATTERNS = ("lantern", "wreath", "bee", "sun", "apple", "knot", "wren", "ladder")


def _timed(page, change) -> float:
    before = drawn(page)
    start = time.perf_counter()
    change()
    redrawn(page, before)
    return time.perf_counter() - start


def test_the_first_picture_is_quick(visit):
    visit()  # the workers are warm
    seconds = []
    for _ in range(3):
        start = time.perf_counter()
        drawn(visit())
        seconds.append(time.perf_counter() - start)
    print("first picture", seconds)  # noqa: T201 (a measurement)
    assert median(seconds) < FIRST_S


def test_a_change_of_weight_is_quick_and_leaves_nothing(visit, served):
    page = visit()
    drawn(page, "mould")
    page.wait_for_selector(".verdict-line")
    before_mb = _resident_mb(served.process.pid)
    seconds = []
    for step in range(20):
        weight = str(70 + step)
        seconds.append(_timed(page, lambda w=weight: typed(page, "portion.finished_weight_g", w)))
    page.wait_for_timeout(1000)
    page.wait_for_selector(".verdict-line")
    left_mb = _resident_mb(served.process.pid) - before_mb
    print("weight", sorted(seconds), "left", left_mb)  # noqa: T201 (a measurement)
    assert median(seconds) < WEIGHT_S
    assert left_mb < LEFT_MB


def test_a_change_of_pattern_is_quick(visit):
    page = visit()
    drawn(page, "mould")
    page.wait_for_selector(".verdict-line")
    seconds = [
        _timed(page, lambda n=name: picked(page, "top", f"pattern-{n}")) for name in PATTERNS
    ]
    print("pattern", sorted(seconds))  # noqa: T201 (a measurement)
    assert median(seconds) < PATTERN_S


CHANGES = (
    ("weight", "90"), ("outline", "square"), ("top", "pattern-wreath"), ("make", ""),
    ("top", "face-blossom"), ("outline", "hexagon"), ("weight", "60"), ("make", ""),
    ("kind", "block"), ("top", "pattern-bee"), ("weight", "120"), ("outline", "scalloped"),
    ("make", ""), ("top", "face-sun"), ("kind", "cast"), ("outline", "round"), ("kind", "press"),
    ("top", "face-wheat"), ("weight", "75"), ("make", ""),
)  # fmt: skip


def test_twenty_changes_stay_within_memory_and_a_closed_tab_gives_it_back(browser, tmp_path):
    served = started("--port", "0", MOULDDESIGN_WORKSHOP=str(tmp_path / "workshop.toml"))
    root, held_mb = served.process.pid, []
    context = browser.new_context(viewport={"width": 1200, "height": 640})
    context.set_default_timeout(600_000)
    try:
        page = context.new_page()
        page.goto(served.address)
        drawn(page, "mould")
        page.wait_for_selector(".verdict-line")
        first_mb = memory_mb(root)
        for what, value in CHANGES:
            before = drawn(page)
            if what == "make":
                page.click("#make:enabled")
                page.wait_for_selector("a.download-all >> visible=true")
            elif what == "weight":
                page.fill("#choice-weight", value)
                page.keyboard.press("Tab")
            else:
                picked(page, what, value)
            if what != "make":
                redrawn(page, before)
                page.wait_for_selector(".verdict-line")
            page.wait_for_timeout(2000)
            held_mb.append(memory_mb(root))
        context.close()
        time.sleep(60.0)  # 20 s for the tab to come back, and new processes load their libraries
        closed_mb = memory_mb(root)
        print(f"first {first_mb:.0f}, {held_mb}, closed {closed_mb:.0f}")  # noqa: T201 (a measurement)
        assert held_mb[-1] < MOST_MB
        assert closed_mb < first_mb + CLOSED_MB
    finally:
        ended(served)


def _resident_mb(root: int) -> float:
    """Return the memory of a process and all below it, as the kernel counts it (proc(5))."""
    pages = [int(Path(f"/proc/{p}/statm").read_text().split()[1]) for p in processes(root)]
    return sum(pages) * 4096 / 1e6
