"""`moulddesign portion`: what to put on the scale for one piece."""

from dataclasses import asdict

from moulddesign.cli.console import out, print_json, table
from moulddesign.cli.options import PIECE, AsJson, with_design
from moulddesign.design import Design
from moulddesign.portion import Portion, portion


@with_design(*PIECE)
def show(design: Design, *, as_json: AsJson = False) -> None:
    """Masses and volumes of one piece; no geometry.

    Example: moulddesign portion --weight 75 --ratio 3:7 --centre-mass 8
    """
    piece = portion(design.portion)
    if as_json:
        print_json({"design": design.plain(), "portion": asdict(piece)})
    else:
        out().print(portion_table(design.name, piece))


def portion_table(name: str, piece: Portion) -> object:
    """Return the table of masses and volumes."""
    rows = [
        ("crust", piece.crust_g, piece.crust_ml),
        ("paste", piece.paste_g, piece.paste_ml),
        ("centres", piece.centre_g, piece.centre_ml),
        ("raw piece", piece.raw_g, piece.volume_ml),
        ("finished", piece.finished_g, ""),
    ]
    return table(f"{name}: one piece", ("part", "g", "mL"), rows)
