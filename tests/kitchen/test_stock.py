import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.kitchen.batch import OnHand, pieces_from
from moulddesign.portion import portion, split_on_scale

NO_LOSS = {"hand_loss": 0.0, "mixing_loss": 0.0}


def counted(values=None, **on_hand):
    design = Design.of(
        {"portion": {"centres": [{"mass_g": 8.0, "count": 2}]}, "batch": NO_LOSS} | (values or {})
    )
    split = split_on_scale(portion(design.portion), design.portion, 1.0)
    return pieces_from(design, split, OnHand(**on_hand)), split


def test_centres_run_short():
    count, split = counted(crust_g=1000.0, filling_g=1000.0, centres=9)
    assert (count.pieces, count.runs_short) == (4, "centres")
    assert count.left_over["centres"] == 1
    assert count.left_over["crust"] == 1000.0 - 4 * split.crust_g


def test_crust_for_exactly_some_pieces_makes_them():
    _, split = counted(crust_g=1000.0)
    count, _ = counted(crust_g=12 * split.crust_g)
    assert (count.pieces, count.runs_short) == (12, "crust")


def test_hands_and_trimming_take_their_share():
    _, split = counted(crust_g=1000.0)
    lossy = {"batch": NO_LOSS | {"hand_loss": 0.1, "trimming_loss": 0.5}}
    count, _ = counted(lossy, crust_g=12 * split.crust_g)
    assert count.pieces == 5  # 12 x 0.9 x 0.5 = 5.4


@pytest.mark.parametrize(
    ("on_hand", "sentence"),
    [
        ({"crust_g": 5.0}, "crust on hand = 5.0: must be enough for one piece"),
        ({"centres": 1}, "centres on hand = 1: must be enough for one piece, which takes 2"),
        ({"centres": -1}, "centres = -1: must be at least 0"),
        ({"filling_g": 0.0}, "filling_on_hand_g = 0.0: must be a finite number above 0 g"),
        ({"filling_g": float("nan")}, "filling_on_hand_g = nan"),
    ],
)
def test_what_cannot_be_is_refused(on_hand, sentence):
    with pytest.raises(SpecError, match=sentence):
        counted(**on_hand)


def test_centres_for_a_piece_without_any_are_refused():
    with pytest.raises(SpecError, match="this piece has no centre in it"):
        counted({"portion": {}}, centres=5)
