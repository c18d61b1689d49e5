"""The bench card: a PDF for the baker, the printer and the wall."""

import json
import tempfile
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import typst

from moulddesign.errors import KernelError
from moulddesign.export.ink import face_path
from moulddesign.export.paper import Paper

PAPERS: Final = {Paper.A4: "a4", Paper.LETTER: "us-letter"}
"""Names of the papers in the template's language."""


def card_pdf(figures: Mapping[str, Any], pictures: Mapping[str, bytes], paper: Paper) -> bytes:
    """Return the bench card as a PDF file; the same figures are the same bytes.

    Parameters
    ----------
    figures : mapping
        What `card_figures` returned.
    pictures : mapping of str to bytes
        PNG or SVG files by name: `pastry.png`, `parts.png`, `print.png`, `section.svg`.
    paper : Paper
        What it is printed on.

    Raises
    ------
    KernelError
        The page could not be set.
    """
    template = (files("moulddesign") / "data" / "card.typ").read_bytes()
    data = json.dumps(dict(figures) | {"paper": PAPERS[paper]}, ensure_ascii=False)
    with tempfile.TemporaryDirectory(prefix="moulddesign-") as folder:
        for name, content in pictures.items():
            (Path(folder) / name).write_bytes(content)
        page = Path(folder) / "card.typ"
        page.write_bytes(template)
        try:
            return typst.compile(
                str(page),
                root=folder,
                format="pdf",
                font_paths=[str(face_path().parent)],
                ignore_system_fonts=True,
                sys_inputs={"card": data},
            )
        except typst.TypstError as error:
            raise KernelError("the bench card", f"the page could not be set: {error}") from error
