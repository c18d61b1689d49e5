"""The steps of the work with a press: in both languages, each with a picture of what it names."""

from html import escape
from xml.etree import ElementTree as ET

import pytest
from export.builds import built

from moulddesign.core import LANGUAGES
from moulddesign.export.drawing import build_sections
from moulddesign.export.press_steps import COLOURS, DOUGH, press_steps
from moulddesign.page import delivery
from moulddesign.page.texts import page_texts

SHOWN = (
    {"stamp", "plunger"},
    {"sleeve", DOUGH, "stop"},
    {"sleeve", DOUGH, "stamp", "plunger", "stop"},
    {"sleeve", DOUGH, "stamp", "plunger", "stop"},
    {"sleeve", DOUGH, "stamp", "plunger"},
    {"stamp", "plunger"},
)
"""What lies on the table from step to step: a fact of the design."""


@pytest.fixture(scope="module")
def steps():
    build = built("chestnut-75")
    sections = build_sections(build)
    return press_steps(build, sections.parts, sections.pastry)


def test_each_step_shows_the_bodies_that_it_needs(steps):
    for step, bodies in zip(steps, SHOWN, strict=True):
        paths = ET.fromstring(step.picture).iter("{http://www.w3.org/2000/svg}path")  # noqa: S314
        fills = {path.get("fill") for path in paths} - {None}
        assert fills == {COLOURS[body] for body in bodies}


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_page_lists_them_in_its_language(steps, language):
    html = delivery.steps_list(page_texts(language), "TAB", steps)
    assert html.count("<li>") == html.count("/files/TAB/press-step-") == len(SHOWN)
    for step in steps:
        assert escape(step.says.text(language)) in html
