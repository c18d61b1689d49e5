"""The jobs that a worker knows. Each yields what it has as soon as it has it."""

from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from moulddesign.building import Build, Shape, build, shaped
from moulddesign.design import Design, MouldTable, PrinterTable
from moulddesign.export import publish, publish_failing
from moulddesign.export.picture import Artist
from moulddesign.export.scene import pastry_scene
from moulddesign.mould import moulded
from moulddesign.page.bench_jobs import batched, fitted, shelved, tried
from moulddesign.page.piece import Piece
from moulddesign.page.scene_data import part_bodies, pastry_bodies, sent
from moulddesign.portion import roll_for
from moulddesign.units import ml_from_mm3

Listen = Callable[[], None]
Told = Iterator[tuple[str, Any]]


def jobs() -> Mapping[str, Callable[..., Told]]:
    """Return the jobs by name; each takes what listens for a stop, and its arguments."""
    return {
        "the piece": drawn,
        "the checks": proven,
        "the files": written,
        "the files all the same": written_failing,
        "the picture": pictured,
        "the fit": fitted,
        "the shelf": shelved,
        "the trial": tried,
        "the batch": batched,
    }


def drawn(_listen: Listen, plain: Mapping[str, Any]) -> Told:
    """Tell the piece's figures, and what the view needs to draw it.

    Parameters
    ----------
    plain : mapping
        The design, as nested plain values.
    """
    design = Design.of(plain)
    shape = _shape(_of_the_piece(design))
    yield "figures", _piece(design, shape)
    yield "bodies", sent("pastry", pastry_bodies(design, shape))


def proven(listen: Listen, plain: Mapping[str, Any]) -> Told:
    """Tell what the view needs to draw the mould, and then the report with all findings.

    Parameters
    ----------
    listen : callable
        Asked before each stage whether to go on.
    plain : mapping
        The design.
    """
    design = Design.of(plain)
    if _built.get(design) is None:
        shape = _shape(_of_the_piece(design))
        listen()
        mould = moulded(design, shape.pastry, shape.further)
        yield "bodies", sent("mould", part_bodies(mould, shape))
        made = build(design, lambda _: listen(), begun=(shape, mould))
        _built.clear()
        _built[design] = made
    else:
        made = _built[design]
        yield "bodies", sent("mould", part_bodies(made.mould, made))
    yield "report", made.report()


def written(_listen: Listen, plain: Mapping[str, Any]) -> Told:
    """Tell the bytes of every file of the build, by name, if nothing failed.

    Parameters
    ----------
    plain : mapping
        The design.
    """
    yield from _files(plain, publish)


def written_failing(_listen: Listen, plain: Mapping[str, Any]) -> Told:
    """Tell the bytes of every file of the build in spite of findings that failed."""
    yield from _files(plain, publish_failing)


def _files(plain: Mapping[str, Any], write: Callable[[Build, Path], Build]) -> Told:
    design = Design.of(plain)
    made = _built.get(design)
    made = build(design) if made is None else made
    with TemporaryDirectory(prefix="moulddesign-") as folder:
        target = Path(folder) / "set"
        write(made, target)
        files = {path.name: path.read_bytes() for path in sorted(target.iterdir())}
    yield "files", files


def pictured(_listen: Listen, plain: Mapping[str, Any]) -> Told:
    """Tell a picture of the pastry as a PNG file, for browsers that draw nothing in 3D."""
    shape = _shape(_of_the_piece(Design.of(plain)))
    with Artist({"pastry": pastry_scene(shape.pastry.mesh)}) as artist:
        yield "picture", artist.png("pastry")


_built: dict[Design, Build] = {}
"""The last build of this process, so that checking and writing do not build twice."""


@lru_cache(maxsize=8)
def _shape(design: Design) -> Shape:
    return shaped(design)


def _of_the_piece(design: Design) -> Design:
    """Return the design with the usual mould and printer: the piece does not hang on them."""
    usual = {"name": "piece", "mould": MouldTable(), "printer": PrinterTable()}
    return design.model_copy(update=usual)


def _piece(design: Design, shape: Shape) -> Piece:
    width_mm = shape.pastry.outline.width_mm
    return Piece(
        figures=shape.portion,
        outline=shape.pastry.outline.name,
        width_mm=width_mm,
        height_mm=shape.pastry.height_mm,
        crust_mm=shape.crust_mm,
        relief_ml=ml_from_mm3(shape.pastry.relief_mm3),
        roll=roll_for(design, shape.portion.piece, width_mm),
    )
