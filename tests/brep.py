"""Solids in an exact boundary-representation kernel (Open CASCADE through cadquery-ocp, a test extra)."""

from __future__ import annotations

import numpy as np


def frame(base, axis):
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    return gp_Ax2(gp_Pnt(*map(float, base)), gp_Dir(*map(float, axis)))


def cylinder(base, axis, radius, height):
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder

    return BRepPrimAPI_MakeCylinder(frame(base, axis), float(radius), float(height)).Shape()


def arc_edge(centre, axis, radius, start, end):
    """The arc about `axis` from one point to another, anticlockwise as seen against it."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.GC import GC_MakeArcOfCircle
    from OCP.gp import gp_Circ, gp_Pnt

    circle = gp_Circ(frame(centre, axis), float(radius))
    made = GC_MakeArcOfCircle(circle, gp_Pnt(*map(float, start)), gp_Pnt(*map(float, end)), True)
    return BRepBuilderAPI_MakeEdge(made.Value()).Edge()


def line_edge(start, end):
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge
    from OCP.gp import gp_Pnt

    return BRepBuilderAPI_MakeEdge(gp_Pnt(*map(float, start)), gp_Pnt(*map(float, end))).Edge()


def flat(edges):
    """The plane face inside a closed ring of edges."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeWire

    wire = BRepBuilderAPI_MakeWire()
    for edge in edges:
        wire.Add(edge)
    return BRepBuilderAPI_MakeFace(wire.Wire(), True).Face()


def revolved(face, base, axis):
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeRevol
    from OCP.gp import gp_Ax1, gp_Dir, gp_Pnt

    return BRepPrimAPI_MakeRevol(face, gp_Ax1(gp_Pnt(*map(float, base)), gp_Dir(*map(float, axis)))).Shape()


def prism(face, along):
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Vec

    return BRepPrimAPI_MakePrism(face, gp_Vec(*map(float, along))).Shape()


def less(a, b):
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut

    return BRepAlgoAPI_Cut(a, b).Shape()


def common(a, b):
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Common

    return BRepAlgoAPI_Common(a, b).Shape()


def volume(shape, precision=1e-10):
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    props = GProp_GProps()
    measure = getattr(BRepGProp, "VolumeProperties_s", None) or BRepGProp.VolumeProperties
    measure(shape, props, precision)
    return props.Mass()


def distance(shape, point):
    """mm; 0 for a point inside a solid."""
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeVertex
    from OCP.BRepExtrema import BRepExtrema_DistShapeShape
    from OCP.gp import gp_Pnt

    return BRepExtrema_DistShapeShape(BRepBuilderAPI_MakeVertex(gp_Pnt(*map(float, point))).Shape(), shape).Value()


def parts(shape, what):
    """The solids ("SOLID"), faces or edges of a shape."""
    from OCP import TopAbs
    from OCP.TopExp import TopExp_Explorer

    found, explorer = [], TopExp_Explorer(shape, getattr(TopAbs.TopAbs_ShapeEnum, f"TopAbs_{what}"))
    while explorer.More():
        found.append(explorer.Current())
        explorer.Next()
    return found


def boundary_gap(shape, point):
    """Distance to the nearest face (a point inside a solid has none to the solid itself)."""
    return min(distance(face, point) for face in parts(shape, "FACE"))


def normals_at(shape, point, within=1e-6):
    """Outward unit normals of every face that passes through a point."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepGProp import BRepGProp_Face
    from OCP.GeomAPI import GeomAPI_ProjectPointOnSurf
    from OCP.gp import gp_Pnt, gp_Vec
    from OCP.TopoDS import TopoDS

    to_face = getattr(TopoDS, "Face_s", None) or TopoDS.Face
    surface_of = getattr(BRep_Tool, "Surface_s", None) or BRep_Tool.Surface
    p, found = gp_Pnt(*map(float, point)), []
    for face in parts(shape, "FACE"):
        if distance(face, point) > within:
            continue
        face = to_face(face)
        u, v = GeomAPI_ProjectPointOnSurf(p, surface_of(face)).LowerDistanceParameters()
        at, normal = gp_Pnt(), gp_Vec()
        BRepGProp_Face(face).Normal(u, v, at, normal)
        normal = np.array([normal.X(), normal.Y(), normal.Z()])
        found.append(normal / np.linalg.norm(normal))
    return found
