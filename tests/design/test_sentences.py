"""What is wrong with an entry of a list: which entry, counted as people count."""

import pickle

import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design

GOOD = {"pattern": "sun"}


@pytest.mark.parametrize(
    ("layers", "sentence"),
    [
        ([{}], "relief.layers.1 (the first layer): needs exactly one of"),
        ([GOOD, {"pattern": "sun", "text": "A"}], "relief.layers.2 (the second layer): needs"),
        ([GOOD, GOOD | {"size_mm": -1}], "relief.layers.2.size_mm (the second layer) = -1: must"),
        ([GOOD] * 9 + [GOOD | {"copies": 0}], "relief.layers.10.copies (layer 10) = 0: must be"),
        ([GOOD | {"patern": 1}], "relief.layers.1.patern (the first layer) = 1: is not a known"),
        ([3], "relief.layers.1 (the first layer) = 3: must be a table of keys."),
    ],
)
def test_a_layers_error_says_which_layer_it_is(layers, sentence):
    with pytest.raises(SpecError) as caught:
        Design.of({"relief": {"layers": layers}})
    assert str(caught.value).startswith(sentence)
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)


def test_a_list_of_numbers_is_named_as_a_whole():
    with pytest.raises(SpecError, match=r"^printer\.bed_mm = \[1, -2, 3\]: must be three lengths"):
        Design.of({"printer": {"bed_mm": [1, -2, 3]}})
