"""`moulddesign portion`: what to put on the scale for one piece."""

from moulddesign.cli.console import out, print_json
from moulddesign.cli.options import PIECE, AsJson, with_design
from moulddesign.cli.weights import WEIGHING, spread_table, weight_sentences, weight_table
from moulddesign.design import Design
from moulddesign.portion import figures


@with_design(*PIECE, *WEIGHING)
def show(design: Design, *, as_json: AsJson = False) -> None:
    """Masses, volumes, balls, spread and label target of one piece; no geometry.

    Example: moulddesign portion --weight 75 --ratio 3:7 --centre-mass 5
    """
    made = figures(design)
    if as_json:
        print_json({"design": design.plain(), "portion": made.report()})
        return
    sentences = tuple(weight_sentences(design, made, design.pastry.width_mm))
    out().print(weight_table(design.name, made))
    out().print(spread_table(made))
    for sentence in sentences:
        out().print(sentence)
