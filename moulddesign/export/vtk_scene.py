"""A program of its own: draws scenes off-screen with VTK, in a process that may crash."""

import sys
from pathlib import Path
from typing import Any

import numpy as np
import vtkmodules.vtkRenderingOpenGL2  # noqa: F401 (registers what draws)
from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray, vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
from vtkmodules.vtkFiltersCore import vtkFeatureEdges
from vtkmodules.vtkRenderingCore import (
    vtkActor,
    vtkLight,
    vtkPolyDataMapper,
    vtkRenderer,
    vtkRenderWindow,
    vtkWindowToImageFilter,
)

RAKING = (-80.0, -60.0, 42.0)
"""Direction of the light that shows relief best."""
EDGE_DEG = 30.0
"""Edges sharper than this are drawn as lines [deg]."""


def draw_scenes(source: str, folder: str) -> None:
    """Draw each scene of a file into `N.npy`, rows of RGB bytes from the top."""
    with np.load(source) as scenes:
        for number in range(int(scenes["count"])):
            image = _drawn({key: scenes[f"{number}.{key}"] for key in ("view", "size", "bodies")}
                           | {"scenes": scenes, "number": number})  # fmt: skip
            np.save(Path(folder) / f"{number}.npy", image)


def _drawn(scene: dict[str, Any]) -> np.ndarray:
    renderer = vtkRenderer()
    renderer.SetBackground(1.0, 1.0, 1.0)
    for body in range(int(scene["bodies"])):
        key = f"{scene['number']}.{body}"
        arrays = [scene["scenes"][f"{key}.{name}"] for name in ("vertices", "triangles", "rgb")]
        for actor in _actors(*arrays):
            renderer.AddActor(actor)
    _light(renderer, RAKING, 0.80)
    _light(renderer, (0.2, -0.6, 1.0), 0.50)
    window = vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetMultiSamples(0)
    window.SetSize(*map(int, scene["size"]))
    window.AddRenderer(renderer)
    _aim(renderer, scene["view"])
    window.Render()
    grab = vtkWindowToImageFilter()
    grab.SetInput(window)
    grab.ReadFrontBufferOff()
    grab.Update()
    image = grab.GetOutput()
    wide, high, _ = image.GetDimensions()
    pixels: np.ndarray = vtk_to_numpy(image.GetPointData().GetScalars())
    return pixels.reshape(high, wide, 3)[::-1]


def _actors(vertices: np.ndarray, triangles: np.ndarray, rgb: np.ndarray) -> list[vtkActor]:
    points = vtkPoints()
    points.SetData(numpy_to_vtk(np.ascontiguousarray(vertices), deep=True))
    cells = np.column_stack([np.full(len(triangles), 3), triangles]).astype(np.int64).ravel()
    polygons = vtkCellArray()
    polygons.SetCells(len(triangles), numpy_to_vtkIdTypeArray(cells, deep=True))
    surface = vtkPolyData()
    surface.SetPoints(points)
    surface.SetPolys(polygons)
    body = vtkActor()
    mapper = vtkPolyDataMapper()
    mapper.SetInputData(surface)
    body.SetMapper(mapper)
    look = body.GetProperty()
    look.SetColor(*rgb.tolist())
    look.SetInterpolationToFlat()
    look.SetAmbient(0.12)
    look.SetDiffuse(0.88)
    return [body, _edges(surface, rgb)]


def _edges(surface: vtkPolyData, rgb: np.ndarray) -> vtkActor:
    sharp = vtkFeatureEdges()
    sharp.SetInputData(surface)
    sharp.BoundaryEdgesOff()
    sharp.NonManifoldEdgesOff()
    sharp.ManifoldEdgesOff()
    sharp.ColoringOff()
    sharp.SetFeatureAngle(EDGE_DEG)
    mapper = vtkPolyDataMapper()
    mapper.SetInputConnection(sharp.GetOutputPort())
    mapper.SetResolveCoincidentTopologyToPolygonOffset()
    mapper.SetRelativeCoincidentTopologyLineOffsetParameters(0.0, -4.0)
    lines = vtkActor()
    lines.SetMapper(mapper)
    look = lines.GetProperty()
    look.SetColor(*(0.45 * rgb).tolist())
    look.SetLineWidth(1.6)
    look.LightingOff()
    return lines


def _light(renderer: vtkRenderer, towards: tuple[float, float, float], strength: float) -> None:
    light = vtkLight()
    light.SetLightTypeToSceneLight()
    light.PositionalOff()
    light.SetPosition(*towards)
    light.SetFocalPoint(0.0, 0.0, 0.0)
    light.SetIntensity(strength)
    renderer.AddLight(light)


def _aim(renderer: vtkRenderer, view: np.ndarray) -> None:
    """Look in parallel at a point: rows of `view` are the eye's direction, up, the point, scale."""
    eye, up, middle, scale = view
    camera = renderer.GetActiveCamera()
    camera.ParallelProjectionOn()
    camera.SetFocalPoint(*middle.tolist())
    camera.SetPosition(*(middle + 1000.0 * eye).tolist())
    camera.SetViewUp(*up.tolist())
    camera.SetParallelScale(float(scale[0]))
    renderer.ResetCameraClippingRange()


if __name__ == "__main__":
    draw_scenes(*sys.argv[1:])
