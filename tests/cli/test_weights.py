import io

import pytest
from rich.console import Console

from moulddesign.cli.weight_commands import spread_table, weight_sentences, weight_table
from moulddesign.design import Design
from moulddesign.portion import figures


def printed(design):
    made = figures(design)
    page = io.StringIO()
    console = Console(file=page, width=80, highlight=False)
    console.print(weight_table(design.name, made), spread_table(made))
    for sentence in weight_sentences(design, made, design.pastry.width_mm):
        console.print(sentence)
    return page.getvalue()


def test_tables_fit_80_columns_and_hold_the_figures():
    text = printed(Design.of({"portion": {"centres": [{"mass_g": 8.0}]}}))
    assert max(map(len, text.splitlines())) <= 80
    assert "76.53" in text  # 75 / 0.98
    assert "A trial bake finds yours." in " ".join(text.split())


@pytest.mark.parametrize(
    ("width_mm", "words"),
    [(40.0, "To enter the bore, roll it to 37 mm across"), (80.0, "enters the bore as it is")],
)
def test_roll_is_shown_where_the_width_is_known(width_mm, words):
    assert words in printed(Design.of({"pastry": {"width_mm": width_mm}}))


def test_a_label_is_kept_by_the_weights_shown_and_names_no_others():
    design = Design.of({"portion": {"finished_weight_g": 73.0}, "label": {"weight_g": 73.0}})
    text = " ".join(printed(design).split())
    # by hand: 73 / 0.98 = 74.49 g raw at the least, 75 g on a scale of whole grams
    assert "the raw piece 75 g" in text
    assert "73.0 g finished for a label of 73 g" in text
    assert "local law decides" in text
    assert "weigh at least" not in text


def test_without_a_label_nothing_is_said_of_one():
    assert "label" not in printed(Design.of({"portion": {"finished_weight_g": 73.0}}))
