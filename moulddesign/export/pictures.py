"""PNG pictures without a screen: what each shows, and who draws it."""

import io
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import cos, radians, sin, tan
from pathlib import Path
from types import MappingProxyType
from typing import Final, Self

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from moulddesign.artwork import artwork_check
from moulddesign.building import Build
from moulddesign.export.formats import part_colour
from moulddesign.geometry import Mesh, Points
from moulddesign.pastry.pastry import Pastry
from moulddesign.verify.piece_checks import least_widths_mm

GAP: Final = 0.15
"""Between parts in a row, as a share of the widest."""

APART: Final = 0.5
"""Between parts pulled apart, as a share of the pastry's width."""

APART_ELEVATION_DEG: Final = 24.0
"""How high the eye stands over parts pulled apart [deg]."""

MARGIN: Final = 0.04
"""Empty rim of a picture, as a share of its size."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """A mesh and its colour."""

    mesh: Mesh
    rgb: tuple[float, float, float]
    """sRGB shares, 0 to 1."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """Bodies seen in parallel projection, filling the picture."""

    bodies: tuple[Body, ...]
    azimuth_deg: float
    """Direction to the eye: from the front (-y) towards the right (+x) [deg]."""
    elevation_deg: float
    """The same upwards [deg]."""
    size_px: tuple[int, int]
    """Width and height of the picture [px]."""

    @property
    def axes(self) -> Points:
        """Right, up and towards the eye, shape (3, 3)."""
        turn, tilt = radians(self.azimuth_deg), radians(self.elevation_deg)
        right = (cos(turn), sin(turn), 0.0)
        eye = (sin(turn) * cos(tilt), -cos(turn) * cos(tilt), sin(tilt))
        return np.array([right, np.cross(eye, right), eye])

    @property
    def frame(self) -> tuple[Points, float]:
        """The point in the middle of the picture, and half the picture's height [mm]."""
        axes = self.axes
        seen = np.concatenate([body.mesh.vertices for body in self.bodies]) @ axes.T
        low, high = seen.min(axis=0), seen.max(axis=0)
        wide, tall = (high - low)[:2].tolist()
        aspect = self.size_px[0] / self.size_px[1]
        half_mm = max(tall, wide / aspect) / 2.0 / (1.0 - 2.0 * MARGIN)
        return ((low + high) / 2.0) @ axes, half_mm


def pastry_scene(pastry: Mesh) -> Scene:
    """Return the pastry seen from the front and above, so that its relief reads upright."""
    return Scene(
        bodies=(Body(mesh=pastry, rgb=part_colour("pastry", 0)),),
        azimuth_deg=0.0,
        elevation_deg=52.0,
        size_px=(1000, 800),
    )


def exploded_scene(parts: Mapping[str, Mesh], pastry: Mesh) -> Scene:
    """Return the assembled parts pulled apart above the pastry, in their order from below."""
    bodies = [Body(mesh=pastry, rgb=part_colour("pastry", 0))]
    gap_mm = APART * float(pastry.size_mm[:2].max())
    top_mm = float(pastry.bounds[1, 2])
    reach_mm, rise = _reach_mm(pastry), tan(radians(APART_ELEVATION_DEG))
    for number, (name, mesh) in enumerate(parts.items()):
        # What reaches farther towards the eye than the part below hangs over it in the picture.
        overhang_mm = max(0.0, rise * (_reach_mm(mesh) - reach_mm))
        lift = top_mm + gap_mm + overhang_mm - float(mesh.bounds[0, 2])
        moved = mesh.moved((0.0, 0.0, lift))
        bodies.append(Body(mesh=moved, rgb=part_colour(name, number)))
        top_mm, reach_mm = float(moved.bounds[1, 2]), _reach_mm(mesh)
    return Scene(
        bodies=tuple(bodies),
        azimuth_deg=22.0,
        elevation_deg=APART_ELEVATION_DEG,
        size_px=(780, 1300),
    )


def _reach_mm(mesh: Mesh) -> float:
    """Return how far a mesh reaches from the z axis along x or y [mm]."""
    return float(np.abs(mesh.bounds[:, :2]).max())


def row_scene(parts: Mapping[str, Mesh]) -> Scene:
    """Return the parts in a row, as they lie on the printer's bed."""
    gap_mm = GAP * max(float(mesh.size_mm[0]) for mesh in parts.values())
    bodies, x = [], 0.0
    for number, (name, mesh) in enumerate(parts.items()):
        low, high = mesh.bounds
        shift = (x - low[0], -(low[1] + high[1]) / 2.0, 0.0)
        bodies.append(Body(mesh=mesh.moved(shift), rgb=part_colour(name, number)))
        x += float(high[0] - low[0]) + gap_mm
    return Scene(bodies=tuple(bodies), azimuth_deg=0.0, elevation_deg=38.0, size_px=(1000, 500))


LIGHTS: Final = (((-80.0, -60.0, 42.0), 0.70), ((0.2, -0.6, 1.0), 0.45))
"""Direction and strength of each light: one that rakes, one that fills."""

AMBIENT: Final = 0.12
"""Light that reaches everything."""

DOTS: Final = 100
"""Pixels of an inch of matplotlib's page."""

FINER: Final = 2
"""Painted so much larger, to be averaged down."""


def painted(scene: Scene) -> NDArray[np.uint8]:
    """Return a scene as an image twice its size, shape (h, w, 3), rows from the top."""
    corners = np.concatenate([body.mesh.corners for body in scene.bodies])
    colours = np.repeat(
        np.array([body.rgb for body in scene.bodies]),
        [len(body.mesh.triangles) for body in scene.bodies],
        axis=0,
    )
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1)
    seen = corners @ scene.axes.T
    front = np.flatnonzero((normals @ scene.axes[2] > 0.0) & (lengths > 0.0))
    front = front[np.argsort(seen[front, :, 2].mean(axis=1), kind="stable")]
    shade = _shade(normals[front] / lengths[front, None])
    return _image(scene, seen[front, :, :2], np.clip(colours[front] * shade[:, None], 0.0, 1.0))


def _shade(normals: NDArray[np.float64]) -> NDArray[np.float64]:
    total = np.full(len(normals), AMBIENT)
    for towards, strength in LIGHTS:
        direction = np.array(towards) / np.linalg.norm(towards)
        total += strength * np.clip(normals @ direction, 0.0, None)
    return total


def _image(
    scene: Scene, facets: NDArray[np.float64], colours: NDArray[np.float64]
) -> NDArray[np.uint8]:
    # Late, for VTK draws nearly every picture.
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.collections import PolyCollection  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    wide, high = scene.size_px
    figure = Figure(figsize=(FINER * wide / DOTS, FINER * high / DOTS), dpi=DOTS)
    canvas = FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    middle, half_mm = scene.frame
    x, y = (scene.axes @ middle)[:2].tolist()
    axes.set_xlim(x - half_mm * wide / high, x + half_mm * wide / high)
    axes.set_ylim(y - half_mm, y + half_mm)
    axes.add_collection(
        PolyCollection(list(facets), facecolors=colours, edgecolors=colours, linewidths=0.4)
    )
    canvas.draw()  # type: ignore[no-untyped-call]
    pixels = np.asarray(canvas.buffer_rgba())  # type: ignore[no-untyped-call]
    return pixels[:, :, :3].copy()


Picture = NDArray[np.uint8]

PROGRAM: Final = Path(__file__).with_name("vtk_scene.py")
"""What draws with VTK, in a process of its own."""

PATIENCE_S: Final = 120.0
"""Longer than any drawing takes; then the other way is taken [s]."""


class SceneRenderer:
    """Draws scenes in another process, which starts at once; without scenes there is none."""

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
        """Return a picture as a PNG file; drawn with matplotlib where VTK cannot."""
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

    Facets are painted from the farthest to the nearest, so parts that interlock may cover each
    other wrongly.
    """
    return png_bytes(painted(scene), scene.size_px)


def png_bytes(image: Picture, size_px: tuple[int, int]) -> bytes:
    """Return an image, averaged down to a width and height, as a PNG file without text or time."""
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


def further_pastry_scenes(build: Build) -> Mapping[str, Scene]:
    """Return a picture of each further pastry, by the name of its file."""
    return MappingProxyType(
        {
            f"{one.pastry_name}.png": pastry_scene(build.meshes[one.pastry_name])
            for one in build.further
        }
    )


def relief_pictures(build: Build) -> Mapping[str, Pastry]:
    """Return every pastry by the name of the picture of its relief, the first's first."""
    further = {
        f"{one.stamp_name.replace('stamp', 'relief', 1)}.png": one.pastry for one in build.further
    }
    return MappingProxyType({"relief.png": build.pastry} | further)


CAPTION: Final = artwork_check.CAPTION_PX / (artwork_check.SIDE_PX + artwork_check.CAPTION_PX)
"""Share of the picture's height that is its caption."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReliefPlan:
    """A picture of the relief, its caption below."""

    png: bytes
    caption: tuple[str, ...]
    """The lines of the caption."""


def relief_plan(pastry: Pastry, *, line_mm: float) -> ReliefPlan:
    """Return the relief's regions from above, raised ones dark, sunk ones light.

    Strokes and gaps that are too thin for the width of a printed line are ringed.
    """
    drawn = [
        artwork_check.ColouredRegion(shape=pastry.outline.shape, colour=artwork_check.DOUGH_COLOUR)
    ]
    marks: list[artwork_check.ThinMark] = []
    caption: list[str] = []
    for shape, depth_mm in pastry.artwork:
        raised = depth_mm > 0.0
        stroke_mm, gap_mm = least_widths_mm(line_mm=line_mm, raised=raised)
        drawn.append(
            artwork_check.ColouredRegion(
                shape=shape,
                colour=artwork_check.RAISED_COLOUR if raised else artwork_check.SUNK_COLOUR,
            )
        )
        marks += artwork_check.thin_marks(shape, least_stroke_mm=stroke_mm, least_gap_mm=gap_mm)
        sense = "Raised" if raised else "Sunk"
        caption.append(f"{sense}: stroke at least {stroke_mm:g} mm, gap {gap_mm:g} mm")
    caption.append("Thinner ones are ringed" if marks else "None is thinner")
    lines = tuple(caption) if pastry.artwork else ("No relief",)
    picture = artwork_check.marked_picture(drawn, tuple(marks), "\n".join(lines))
    return ReliefPlan(png=png_bytes(np.asarray(picture), picture.size), caption=lines)
