"""A finding is named alike in every language, and its report holds plain values."""

import pickle
from dataclasses import replace

import pytest

from moulddesign.core import CAUTIONS, DESIGN, Finding, Verdict, say

BED = Finding(
    what=say("verify.fits-bed"),
    part="stamp",
    measured=say("verify.extents", x_mm=50.04, y_mm=50.0, z_mm=20.0),
    limit=say("verify.at-most-bed", x_mm=220.0, y_mm=220.0, z_mm=250.0),
    unit="mm",
    source=DESIGN,
    verdict=Verdict.GOOD,
)


def test_a_report_holds_the_english_and_the_id():
    assert BED.report() == {
        "name": "stamp: fits the bed",
        "measured": "50.0 x 50.0 x 20.0",
        "limit": "at most 220 x 220 x 250",
        "unit": "mm",
        "source": "the design",
        "verdict": "good",
        "id": "verify.fits-bed",
    }


def test_a_remedy_is_told_where_there_is_one():
    mended = replace(BED, remedy=say("core.at-most", limit=180))
    assert mended.report()["remedy"] == "at most 180"


def test_a_number_stays_one():
    assert replace(BED, measured=2).report()["measured"] == 2


@pytest.mark.parametrize(
    ("part", "english", "german"),
    [
        ("", "fits the bed", "passt auf das Druckbett"),
        ("stamp", "stamp: fits the bed", "Stempel: passt auf das Druckbett"),
        ("stamp-bee", "stamp-bee: fits the bed", "Stempel-bee: passt auf das Druckbett"),
        (
            "stamp-bee: sleeve",
            "stamp-bee: sleeve: fits the bed",
            "Stempel-bee: Hülse: passt auf das Druckbett",
        ),
        ("stamp.stl", "stamp.stl: fits the bed", "stamp.stl: passt auf das Druckbett"),
    ],
)
def test_the_part_stands_before_what_was_measured(part, english, german):
    found = replace(BED, part=part)
    assert (found.name, found.title("de")) == (english, german)


def test_a_finding_survives_the_way_between_processes():
    assert pickle.loads(pickle.dumps(BED)) == BED


def test_cautions_are_said_in_both_languages():
    assert len({caution.text("de") for caution in CAUTIONS} | set(map(str, CAUTIONS))) == 18
