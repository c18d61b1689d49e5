"""PNG pictures without a screen: VTK where it can draw, matplotlib where it cannot."""

import io
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from moulddesign.export.scene import Scene

Picture = NDArray[np.uint8]

PROGRAM: Final = Path(__file__).with_name("vtk_scene.py")
"""What draws with VTK, in a process of its own."""

PATIENCE_S: Final = 120.0
"""Longer than any drawing takes; then the other way is taken [s]."""

FINER: Final = 2
"""Pictures are drawn so much larger and averaged, for smooth edges."""


class Artist:
    """Draws scenes in another process, while this one goes on.

    Parameters
    ----------
    scenes : mapping of str to Scene
        What to draw, by name. The process starts at once; without scenes there is none.
    """

    def __init__(self, scenes: Mapping[str, Scene]) -> None:
        self.scenes = dict(scenes)
        self.folder = tempfile.TemporaryDirectory(prefix="moulddesign-")
        self.process: subprocess.Popen[bytes] | None = None
        if self.scenes:
            source = Path(self.folder.name) / "scenes.npz"
            np.savez(source, **_plain(tuple(self.scenes.values())))  # type: ignore[arg-type]
            self.process = _started(source)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()
        self.folder.cleanup()

    def png(self, name: str) -> bytes:
        """Return a picture as a PNG file; drawn with matplotlib where VTK could not.

        Parameters
        ----------
        name : str
            Of the scene.
        """
        return self._pngs[name]

    @cached_property
    def _pngs(self) -> dict[str, bytes]:
        if not self._vtk_could():
            return {name: plain_png(scene) for name, scene in self.scenes.items()}
        return {
            name: png_bytes(np.load(Path(self.folder.name) / f"{number}.npy"), scene.size_px)
            for number, (name, scene) in enumerate(self.scenes.items())
        }

    def _vtk_could(self) -> bool:
        try:
            return self.process is not None and self.process.wait(PATIENCE_S) == 0
        except subprocess.TimeoutExpired:
            return False


def _started(source: Path) -> subprocess.Popen[bytes]:
    # -P: the folder of the program is not where imports are sought.
    return subprocess.Popen(  # noqa: S603 (our own file, no shell)
        [sys.executable, "-P", str(PROGRAM), str(source), str(source.parent)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def plain_png(scene: Scene) -> bytes:
    """Return a scene drawn with matplotlib, as a PNG file; no graphics library is needed.

    Parameters
    ----------
    scene : Scene
        What is seen. Facets are painted from the farthest to the nearest, so parts that
        interlock may cover each other wrongly.
    """
    from moulddesign.export.painter import painted  # noqa: PLC0415 (seldom needed, slow to load)

    return png_bytes(painted(scene), scene.size_px)


def png_bytes(image: Picture, size_px: tuple[int, int]) -> bytes:
    """Return an image, averaged down to a size, as a PNG file without text or time.

    Parameters
    ----------
    image : ndarray of uint8, shape (h, w, 3)
        Rows from the top.
    size_px : tuple of int
        Width and height [px].
    """
    file = io.BytesIO()
    small = Image.fromarray(image).resize(size_px, Image.Resampling.BOX)
    small.save(file, format="PNG", compress_level=6)
    return file.getvalue()


def _plain(scenes: Sequence[Scene]) -> dict[str, NDArray[np.float64 | np.int64]]:
    """Return scenes as arrays by name, as the program reads them."""
    arrays: dict[str, NDArray[np.float64 | np.int64]] = {"count": np.array(len(scenes))}
    for number, scene in enumerate(scenes):
        middle, half_mm = scene.frame
        _, up, eye = scene.axes
        arrays[f"{number}.view"] = np.stack([eye, up, middle, np.full(3, half_mm)])
        arrays[f"{number}.size"] = FINER * np.array(scene.size_px)
        arrays[f"{number}.bodies"] = np.array(len(scene.bodies))
        for place, body in enumerate(scene.bodies):
            arrays[f"{number}.{place}.vertices"] = body.mesh.vertices
            arrays[f"{number}.{place}.triangles"] = body.mesh.triangles
            arrays[f"{number}.{place}.rgb"] = np.array(body.rgb)
    return arrays
