"""Shapes of the CAD kernel (Open CASCADE through OCP), as `cad_kernel` calls them.

The one module that imports OCP, and imported late, for that takes seconds. CadQuery's own module of
shapes would load a rendering toolkit, a writer of drawings and an optimiser besides, in as long
again. Points are x, y, z [mm]; a step that the kernel cannot do raises `Standard_Failure` or
`ValueError`.
"""

from collections.abc import Iterable, Iterator, Sequence
from io import BytesIO
from math import radians, tau

from OCP.BOPAlgo import BOPAlgo_BOP, BOPAlgo_Operation, BOPAlgo_Tools
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeEdge,
    BRepBuilderAPI_MakePolygon,
    BRepBuilderAPI_MakeWire,
    BRepBuilderAPI_Sewing,
)
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepGProp import BRepGProp
from OCP.BRepOffsetAPI import BRepOffsetAPI_ThruSections
from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol
from OCP.GC import GC_MakeArcOfCircle
from OCP.gp import gp_Ax1, gp_Ax2, gp_Circ, gp_Dir, gp_Pnt, gp_Trsf, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Interface import Interface_Static
from OCP.Message import Message, Message_Gravity
from OCP.ShapeFix import ShapeFix_Solid
from OCP.Standard import Standard_Failure
from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp
from OCP.TopLoc import TopLoc_Location
from OCP.TopoDS import (
    TopoDS,
    TopoDS_Builder,
    TopoDS_Compound,
    TopoDS_Edge,
    TopoDS_Face,
    TopoDS_Shape,
    TopoDS_Solid,
    TopoDS_Wire,
)
from OCP.TopTools import TopTools_IndexedMapOfShape, TopTools_ListOfShape

__all__ = ["Standard_Failure"]

Point = tuple[float, float, float]

for printer in Message.DefaultMessenger_s().Printers():
    printer.SetTraceLevel(Message_Gravity.Message_Fail)  # it tells of each file on stdout

SEWING_MM = 1e-6
"""Edges nearer than this are sewn to one [mm]."""


def polygon(points: Iterable[Point]) -> TopoDS_Wire:
    """Return the closed wire through points."""
    builder = BRepBuilderAPI_MakePolygon()
    for point in points:
        builder.Add(gp_Pnt(*point))
    builder.Close()
    return builder.Wire()


def circle(radius_mm: float, z_mm: float) -> TopoDS_Wire:
    """Return a level circle around the z axis, as a wire."""
    around = gp_Ax2(gp_Pnt(0.0, 0.0, z_mm), gp_Dir(0.0, 0.0, 1.0))
    return wire([BRepBuilderAPI_MakeEdge(gp_Circ(around, radius_mm)).Edge()])


def segment(start: Point, end: Point) -> TopoDS_Edge:
    """Return the straight edge between two points."""
    return BRepBuilderAPI_MakeEdge(gp_Pnt(*start), gp_Pnt(*end)).Edge()


def arc(start: Point, middle: Point, end: Point) -> TopoDS_Edge:
    """Return the arc of a circle through three points."""
    made = GC_MakeArcOfCircle(gp_Pnt(*start), gp_Pnt(*middle), gp_Pnt(*end))
    return BRepBuilderAPI_MakeEdge(made.Value()).Edge()


def wire(edges: Iterable[TopoDS_Edge]) -> TopoDS_Wire:
    """Return edges as one wire."""
    every = TopTools_ListOfShape()
    for edge in edges:
        every.Append(edge)
    builder = BRepBuilderAPI_MakeWire()
    builder.Add(every)
    return TopoDS.Wire(builder.Shape())


def face(border: TopoDS_Wire) -> TopoDS_Face:
    """Return the flat face within a wire."""
    wires, faces, builder = TopoDS_Compound(), TopoDS_Compound(), TopoDS_Builder()
    builder.MakeCompound(wires)
    builder.Add(wires, border)
    if not BOPAlgo_Tools.WiresToFaces_s(wires, faces):
        raise ValueError("no face lies within the wire")
    return TopoDS.Face(next(_parts(faces, TopAbs_ShapeEnum.TopAbs_FACE)))


def lofted(wires: Sequence[TopoDS_Wire]) -> TopoDS_Shape:
    """Return the solid between wires, with straight sides from each to the next."""
    is_solid = is_ruled = True
    builder = BRepOffsetAPI_ThruSections(is_solid, is_ruled)
    for each in wires:
        builder.AddWire(each)
    builder.Build()
    builder.Check()
    return builder.Shape()


def revolved(flat: TopoDS_Face) -> TopoDS_Shape:
    """Return what a face sweeps once round the z axis."""
    axis = gp_Ax1(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(0.0, 0.0, 1.0))
    builder = BRepPrimAPI_MakeRevol(flat, axis, tau)
    builder.Build()
    return builder.Shape()


def within(faces: Iterable[TopoDS_Face]) -> TopoDS_Shape:
    """Return the solid that faces bound."""
    builder = BRepBuilderAPI_Sewing(SEWING_MM)
    for each in faces:
        builder.Add(each)
    builder.Perform()
    (shell,) = _parts(builder.SewedShape(), TopAbs_ShapeEnum.TopAbs_SHELL)
    return ShapeFix_Solid().SolidFromShell(TopoDS.Shell(shell))


def fused(bodies: Sequence[TopoDS_Shape]) -> TopoDS_Shape:
    """Return the union of bodies."""
    return _combined(BOPAlgo_Operation.BOPAlgo_FUSE, bodies)


def cut(body: TopoDS_Shape, tool: TopoDS_Shape) -> TopoDS_Shape:
    """Return a body without another."""
    return _combined(BOPAlgo_Operation.BOPAlgo_CUT, (body, tool))


def shared(one: TopoDS_Shape, other: TopoDS_Shape) -> TopoDS_Shape:
    """Return what two bodies share."""
    return _combined(BOPAlgo_Operation.BOPAlgo_COMMON, (one, other))


def _combined(operation: BOPAlgo_Operation, bodies: Sequence[TopoDS_Shape]) -> TopoDS_Shape:
    builder = BOPAlgo_BOP()
    builder.SetOperation(operation)
    builder.SetRunParallel(True)  # noqa: FBT003 (no other way)
    builder.SetUseOBB(True)  # noqa: FBT003 (no other way)
    builder.SetNonDestructive(True)  # noqa: FBT003 (no other way)
    builder.AddArgument(bodies[0])
    for tool in bodies[1:]:
        builder.AddTool(tool)
    builder.Perform()
    return builder.Shape()


def moved(shape: TopoDS_Shape, by_mm: Point) -> TopoDS_Shape:
    """Return a shape moved along a vector."""
    way = gp_Trsf()
    way.SetTranslationPart(gp_Vec(*by_mm))
    return shape.Moved(TopLoc_Location(way))


def turned(shape: TopoDS_Shape, angle_deg: float) -> TopoDS_Shape:
    """Return a shape turned about the z axis."""
    way = gp_Trsf()
    way.SetRotation(gp_Ax1(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(0.0, 0.0, 1.0)), radians(angle_deg))
    return shape.Moved(TopLoc_Location(way))


def solids(shape: TopoDS_Shape) -> list[TopoDS_Solid]:
    """Return the solids of a shape."""
    return [TopoDS.Solid(each) for each in _parts(shape, TopAbs_ShapeEnum.TopAbs_SOLID)]


def _parts(shape: TopoDS_Shape, kind: TopAbs_ShapeEnum) -> Iterator[TopoDS_Shape]:
    found = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, kind, found)
    yield from found


def is_valid(solid: TopoDS_Solid) -> bool:
    """Return whether the kernel finds no defect in a solid."""
    return bool(BRepCheck_Analyzer(solid).IsValid())


def enclosed_mm3(solid: TopoDS_Solid) -> float:
    """Return the volume that a solid's surfaces enclose [mm^3]."""
    found = GProp_GProps()
    BRepGProp.VolumeProperties_s(solid, found)
    return float(found.Mass())


def surface_mm2(solid: TopoDS_Solid) -> float:
    """Return the area of a solid's surfaces [mm^2]."""
    found = GProp_GProps()
    BRepGProp.SurfaceProperties_s(solid, found)
    return float(found.Mass())


def step_text(solid: TopoDS_Solid) -> str:
    """Return a solid as the text of a STEP file in millimetres."""
    writer = STEPControl_Writer()
    Interface_Static.SetIVal_s("write.surfacecurve.mode", 1)
    Interface_Static.SetIVal_s("write.precision.mode", 0)
    Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    writer.Transfer(solid, STEPControl_StepModelType.STEPControl_AsIs)
    written = BytesIO()
    if writer.WriteStream(written) != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise ValueError("the STEP writer failed")
    return written.getvalue().decode("ascii")
