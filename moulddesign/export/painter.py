"""Scenes painted with matplotlib, facet by facet from the farthest to the nearest."""

from typing import Final

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from numpy.typing import NDArray

from moulddesign.export.scene import Scene

LIGHTS: Final = (((-80.0, -60.0, 42.0), 0.70), ((0.2, -0.6, 1.0), 0.45))
"""Direction and strength of each light: one that rakes, one that fills."""

AMBIENT: Final = 0.12
"""Light that reaches everything."""

DOTS: Final = 100
"""Pixels of an inch of matplotlib's page."""

FINER: Final = 2
"""Painted so much larger, to be averaged down."""


def painted(scene: Scene) -> NDArray[np.uint8]:
    """Return a scene as an image twice its size, shape (h, w, 3), rows from the top.

    Parameters
    ----------
    scene : Scene
        What is seen; facets that look away are left out.
    """
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
