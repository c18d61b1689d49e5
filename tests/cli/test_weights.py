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
    assert "Label 75 g: weigh at least 76.5 g raw (77 g on the scale)" in text
    assert "local law decides" in " ".join(text.split())


@pytest.mark.parametrize(
    ("width_mm", "words"),
    [(40.0, "To enter the bore, roll it to 37 mm across"), (80.0, "enters the bore as it is")],
)
def test_roll_is_shown_where_the_width_is_known(width_mm, words):
    assert words in printed(Design.of({"pastry": {"width_mm": width_mm}}))


def test_a_piece_lighter_than_any_label_has_no_label_sentence():
    light = {"portion": {"finished_weight_g": 4.0}, "scale": {"resolution_g": 0.1}}
    assert "Label" not in printed(Design.of(light))
