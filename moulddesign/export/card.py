"""The bench card: a PDF for the baker, the printer and the wall, and its pages as pictures."""

import json
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import typst

from moulddesign.errors import KernelError
from moulddesign.export.glyphs import Faces, bold_path, face_path
from moulddesign.export.paper import Paper

PAPERS: Final = {Paper.A4: "a4", Paper.LETTER: "us-letter"}
"""Names of the papers in the template's language."""

PAGE_PPI: Final = 150.0
"""Resolution of the pictures: small print reads well on a screen of any size [px/inch]."""

FACES: Final = "faces"
"""Folder of the fonts, beside the page."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Card:
    """What stands on a bench card; the same values are the same bytes.

    Parameters
    ----------
    figures : mapping
        What `card_figures` returned, and what the relief's caption says.
    pictures : mapping of str to bytes
        PNG or SVG files by name: `pastry.png`, `parts.png`, `print.png`, `relief.png`,
        `section.svg`; `other-0.png` and so on under the figures' `others`.
    paper : Paper
        What it is printed on.
    faces : Faces
        What it is lettered with; code points stand in the place of what they lack.
    """

    figures: Mapping[str, Any]
    pictures: Mapping[str, bytes]
    paper: Paper
    faces: Faces

    def pdf(self) -> bytes:
        """Return it as a PDF file.

        Raises
        ------
        KernelError
            The page could not be set.
        """
        with self._typesetter() as typesetter:
            made: bytes = _set(typesetter, format="pdf")
            return made

    def pngs(self) -> tuple[bytes, ...]:
        """Return each page as a PNG file.

        Raises
        ------
        KernelError
            A page could not be set.
        """
        with self._typesetter() as typesetter:
            made = _set(typesetter, format="png", ppi=PAGE_PPI)
            return tuple(made) if isinstance(made, list) else (made,)

    @contextmanager
    def _typesetter(self) -> Iterator[typst.Compiler]:
        own = {"title": self.figures["title"], "paper": PAPERS[self.paper]}
        said = self.faces.all_marked(dict(self.figures)) | own
        with tempfile.TemporaryDirectory(prefix="moulddesign-") as folder:
            root = Path(folder)
            for name, content in self.pictures.items():
                (root / name).write_bytes(content)
            template = files("moulddesign") / "data" / "card.typ"
            (root / "card.typ").write_bytes(template.read_bytes())
            _gather(self.faces, root / FACES)
            yield typst.Compiler(
                str(root / "card.typ"),
                root=folder,
                font_paths=[str(root / FACES)],
                ignore_system_fonts=True,
                sys_inputs={"card": json.dumps(said, ensure_ascii=False)},
            )


def _gather(faces: Faces, folder: Path) -> None:
    """Copy the fonts into a folder, and no others.

    The folder of our own face holds one of last resort, which prints boxes for what is missing.
    """
    folder.mkdir()
    for number, font in enumerate((face_path(), bold_path(), *faces.files)):
        shutil.copyfile(font, folder / f"{number}{font.suffix}")


def _set(typesetter: typst.Compiler, **form: Any) -> Any:  # noqa: ANN401 (bytes, or a list of them)
    try:
        return typesetter.compile(**form)
    except typst.TypstError as error:
        raise KernelError("the bench card", f"the page could not be set: {error}") from error
