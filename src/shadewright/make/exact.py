"""The operations of `kit` on exact solids: true planes, cylinders, cones and splines, by Open CASCADE.

Bodies are held right-handed, as mesh files are written: x is turned round on the way in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from OCP.Bnd import Bnd_Box
from OCP.BRep import BRep_Builder
from OCP.BRepAlgoAPI import BRepAlgoAPI_Common, BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse, BRepAlgoAPI_Splitter
from OCP.BRepBndLib import BRepBndLib
from OCP.BRepBuilderAPI import (
    BRepBuilderAPI_MakeFace,
    BRepBuilderAPI_MakePolygon,
    BRepBuilderAPI_Sewing,
)
from OCP.BRepCheck import BRepCheck_Analyzer
from OCP.BRepFilletAPI import BRepFilletAPI_MakeFillet
from OCP.BRepGProp import BRepGProp
from OCP.BRepPrimAPI import (
    BRepPrimAPI_MakeBox,
    BRepPrimAPI_MakeCylinder,
    BRepPrimAPI_MakePrism,
    BRepPrimAPI_MakeRevol,
)
from OCP.collections import Array1_double, Array1_int, Array2_gp_Pnt, List_TopoDS_Shape
from OCP.Geom import Geom_BSplineSurface
from OCP.gp import gp_Ax1, gp_Ax2, gp_Dir, gp_Pnt, gp_Vec
from OCP.GProp import GProp_GProps
from OCP.ShapeUpgrade import ShapeUpgrade_UnifySameDomain
from OCP.TopAbs import TopAbs_ShapeEnum
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS, TopoDS_Solid

from shadewright.errors import MakeError
from shadewright.make.kit import Span, Trim
from shadewright.make.profile import HAIR, Part
from shadewright.make.ribbon import Curve, rim_curves
from shadewright.make.seat import Screw, screw_envelope
from shadewright.make.section import band, united
from shadewright.model.shape import Array

STRAIGHT = 1e-6
"""Points of an outline nearer than this to a straight line, in mm, are left out."""
LEAST_ROUNDING = 0.01
"""A rounding of less than this, in mm, is left out."""
SEWN = 1e-6
"""Edges nearer than this are one, mm."""


class ExactKit:
    """The operations on exact solids. What it had to simplify is told in `notes`; `sharp`: rounded edges were left out."""

    def __init__(self) -> None:
        self.notes: list[str] = []
        self.sharp = False

    def turned(self, section: Any) -> Any:
        """Cylinders, cones and planes about the axis."""
        return self._swept(section, start=0.0, angle=2.0 * math.pi)

    def sector(self, section: Any, *, centre: float, half_angle: float) -> Any:
        """As `turned`, between two planes through the axis."""
        start = math.radians(180.0 - centre - half_angle)
        return self._swept(section, start=start, angle=math.radians(2.0 * half_angle))

    def _swept(self, section: Any, *, start: float, angle: float) -> Any:
        axis = gp_Ax1(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(0.0, 0.0, 1.0))
        bodies = []
        for outline, holes in _regions(section):
            face = BRepBuilderAPI_MakeFace(_wire(_upright(outline, start)), True)
            for hole in holes:
                face.Add(_wire(_upright(hole, start)))
            whole = angle > 2.0 * math.pi - 1e-9
            made = BRepPrimAPI_MakeRevol(face.Face(), axis) if whole else BRepPrimAPI_MakeRevol(face.Face(), axis, angle)
            bodies.append(_outward(made.Shape()))
        return self.joined(bodies)

    def box(self, x: Span, y: Span, z: Span) -> Any:
        """Six planes."""
        return BRepPrimAPI_MakeBox(gp_Pnt(-x[1], y[0], z[0]), gp_Pnt(-x[0], y[1], z[1])).Shape()

    def rounded_box(self, x: Span, y: Span, z: Span, rounding: float) -> Any:
        """Six planes; the edges of a tunnel's lips are left sharp."""
        self._sharp("lips'", rounding)
        return self.box(x, y, z)

    def loft(self, rings: Array) -> Any:
        """Planes between neighbouring points."""
        points = np.array(rings, dtype=float) * np.array([-1.0, 1.0, 1.0])
        levels, count, _ = points.shape
        sewing = BRepBuilderAPI_Sewing(SEWN)
        for k in range(levels - 1):
            for a in range(count):
                b = (a + 1) % count
                sewing.Add(_plane([points[k, a], points[k, b], points[k + 1, b], points[k + 1, a]]))
        for end in (points[0], points[-1]):
            sewing.Add(_plane(list(end)))
        sewing.Perform()
        return _solid_of_shell(sewing.SewedShape())

    def rod(self, x: Span, y: float, z: float, radius: float, *, sides: int | None = None) -> Any:
        """A cylinder, or a prism."""
        if sides is None:
            place = gp_Ax2(gp_Pnt(-x[1], y, z), gp_Dir(1.0, 0.0, 0.0))
            return BRepPrimAPI_MakeCylinder(place, radius, x[1] - x[0]).Shape()
        turn = 2.0 * np.pi * np.arange(sides) / sides
        corners = np.stack([np.full(sides, -x[1]), y + radius * np.sin(turn), z + radius * np.cos(turn)], axis=1)
        return _outward(BRepPrimAPI_MakePrism(_plane(list(corners)), gp_Vec(x[1] - x[0], 0.0, 0.0)).Shape())

    def joined(self, bodies: Sequence[Any]) -> Any:
        """The union of solids."""
        whole = bodies[0]
        for body in bodies[1:]:
            whole = _done(BRepAlgoAPI_Fuse(whole, body), "joined")
        return whole

    def cut(self, body: Any, tools: Sequence[Any]) -> Any:
        """`body` less every tool."""
        for tool in tools:
            body = _done(BRepAlgoAPI_Cut(body, tool), "cut")
        return body

    def common(self, first: Any, second: Any) -> Any:
        """What two solids share."""
        return _done(BRepAlgoAPI_Common(first, second), "intersected")

    def under_rim(self, parts: Sequence[tuple[Part, Any]], trim: Trim) -> Any:
        """The wall turned and split by the ribbon through the rim, or by a plane; only a plain rim's edges are rounded."""
        section = united([section for _, section in parts])
        if trim.rim.deepest - trim.rim.shallowest < STRAIGHT:
            level = trim.rim.shallowest - HAIR
            return self._rounded(self.turned(section ^ band(0.0, trim.reach, trim.bottom, level)), level, trim.rounding)
        self._sharp("rim's", trim.rounding)
        whole = self.turned(section)
        sewing = BRepBuilderAPI_Sewing(SEWN)
        for curve in rim_curves(trim.rim, trim.middle):
            sewing.Add(_ribbon(curve, trim.near, trim.reach))
        sewing.Perform()
        splitter = BRepAlgoAPI_Splitter()
        splitter.SetArguments(_listed([whole]))
        splitter.SetTools(_listed([sewing.SewedShape()]))
        pieces = solids_of(_done(splitter, "cut to the rim"))
        return min(pieces, key=lambda piece: bounds_of(piece)[0][2])

    def teeth(self, screw: Screw) -> Any:
        """A plain ring as wide as the crests: the thread itself is left to whoever cuts it."""
        crest = screw.profile.crest_radius
        self._note(
            f"The thread is a plain cylinder {2.0 * crest:.3f} mm across its crests, with lead-in and relief: cut the thread, "
            f"pitch {screw.profile.pitch:g} mm, right-handed, pitch diameter {2.0 * screw.profile.pitch_radius:.3f} mm."
        )
        return self.turned(screw_envelope(screw) ^ band(0.0, crest, -screw.length - 1.0, 1.0))

    def _rounded(self, body: Any, level: float, rounding: float) -> Any:
        """`body` with its edges at z = `level` rounded, or as it is where that fails."""
        if rounding < LEAST_ROUNDING:
            return body
        fillet = BRepFilletAPI_MakeFillet(body)
        known: list[Any] = []
        for edge in _found(body, TopAbs_ShapeEnum.TopAbs_EDGE):
            low, high = bounds_of(edge)
            if abs(low[2] - level) < SEWN and abs(high[2] - level) < SEWN and not any(edge.IsSame(e) for e in known):
                known.append(edge)
                fillet.Add(rounding, TopoDS.Edge(edge))
        fillet.Build()
        if fillet.IsDone() and is_sound(fillet.Shape()):
            return solids_of(fillet.Shape())[0]
        self._sharp("rim's", rounding)
        return body

    def _sharp(self, whose: str, rounding: float) -> None:
        if rounding >= LEAST_ROUNDING:
            self.sharp = True
            self._note(f"The {whose} edges are left sharp: round them with {rounding:.1f} mm.")

    def _note(self, sentence: str) -> None:
        if sentence not in self.notes:
            self.notes.append(sentence)


# --- what a body is -----------------------------------------------------------------------------------------


def volume_of(body: Any) -> float:
    """Volume in mm3, by Gauss integration over the exact surfaces."""
    found = GProp_GProps()
    BRepGProp.VolumeProperties_s(body, found)
    return float(found.Mass())


def bounds_of(body: Any) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """The least and greatest x, y and z, mm."""
    box = Bnd_Box()
    BRepBndLib.AddOptimal_s(body, box, False, False)
    low, high = box.CornerMin(), box.CornerMax()
    return (low.X(), low.Y(), low.Z()), (high.X(), high.Y(), high.Z())


def solids_of(body: Any) -> list[Any]:
    """The solids in a shape."""
    return _found(body, TopAbs_ShapeEnum.TopAbs_SOLID)


def faces_of(body: Any) -> list[Any]:
    """The faces of a shape."""
    return _found(body, TopAbs_ShapeEnum.TopAbs_FACE)


def is_sound(body: Any) -> bool:
    """True for one valid solid with one closed shell and a positive volume."""
    shells = _found(body, TopAbs_ShapeEnum.TopAbs_SHELL)
    single = len(solids_of(body)) == 1 and len(shells) == 1 and bool(shells[0].Closed())
    return single and bool(BRepCheck_Analyzer(body).IsValid()) and volume_of(body) > 0.0


def simplified(body: Any) -> Any:
    """The one solid in `body`, with neighbouring faces of one surface made one. Raises MakeError."""
    pieces = solids_of(body)
    if len(pieces) != 1:
        raise MakeError(f"the exact solid falls into {len(pieces)} pieces; make the wall thicker, or the rim smoother or higher.")
    unified = ShapeUpgrade_UnifySameDomain(pieces[0], True, True, False)
    unified.Build()
    whole = solids_of(unified.Shape())
    return whole[0] if len(whole) == 1 and is_sound(whole[0]) else pieces[0]


def _found(body: Any, kind: Any) -> list[Any]:
    explorer, found = TopExp_Explorer(body, kind), []
    while explorer.More():
        found.append(explorer.Current())
        explorer.Next()
    return found


# --- building blocks ----------------------------------------------------------------------------------------


def _done(work: Any, what: str) -> Any:
    """The result of a boolean operation. Raises MakeError where there is none."""
    work.Build()
    if not work.IsDone() or work.Shape().IsNull():
        raise MakeError(f"the exact solid could not be {what}; change the rim or wall a little, or use the STL.")
    return work.Shape()


def _regions(section: Any) -> list[tuple[Array, list[Array]]]:
    """The outlines of a half-section, each with the holes in it."""
    outlines = [_straightened(np.asarray(loop, dtype=float)) for loop in section.to_polygons()]
    solid = [loop for loop in outlines if len(loop) > 2 and _twice_area(loop) > 1e-6]
    holes = [loop for loop in outlines if len(loop) > 2 and _twice_area(loop) < -1e-6]
    return [(loop, [hole for hole in holes if _inside(hole[0], loop)]) for loop in solid]


def _straightened(loop: Array) -> Array:
    """A closed outline without points on a straight line between their neighbours."""
    kept = list(range(len(loop)))
    changed = True
    while changed and len(kept) > 3:
        changed = False
        for place, k in enumerate(kept):
            a, b = loop[kept[place - 1]], loop[kept[(place + 1) % len(kept)]]
            run, here = b - a, loop[k] - a
            length = float(np.hypot(*run))
            off = abs(float(run[0] * here[1] - run[1] * here[0])) / length if length > 0 else float(np.hypot(*here))
            if off < STRAIGHT:
                del kept[place]
                changed = True
                break
    return loop[kept]


def _twice_area(loop: Array) -> float:
    x, y = loop.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _inside(point: Array, loop: Array) -> bool:
    """Whether a point lies within an outline, by counting crossings."""
    a, b = loop, np.roll(loop, -1, axis=0)
    crosses = (a[:, 1] > point[1]) != (b[:, 1] > point[1])
    share = (point[1] - a[crosses, 1]) / (b[crosses, 1] - a[crosses, 1])
    return int(np.sum(a[crosses, 0] + share * (b[crosses, 0] - a[crosses, 0]) > point[0])) % 2 == 1


def _upright(outline: Array, angle: float) -> Array:
    """Points (radius, z) in the half-plane at `angle`, radians."""
    radius, z = outline.T
    return np.stack([radius * math.cos(angle), radius * math.sin(angle), z], axis=1)


def _wire(points: Array) -> Any:
    polygon = BRepBuilderAPI_MakePolygon()
    for x, y, z in points:
        polygon.Add(gp_Pnt(float(x), float(y), float(z)))
    polygon.Close()
    return polygon.Wire()


def _plane(points: list[Array]) -> Any:
    return BRepBuilderAPI_MakeFace(_wire(np.array(points)), True).Face()


def _outward(body: Any) -> Any:
    return body if volume_of(body) > 0.0 else body.Reversed()


def _solid_of_shell(shape: Any) -> Any:
    shells = _found(shape, TopAbs_ShapeEnum.TopAbs_SHELL)
    solid, builder = TopoDS_Solid(), BRep_Builder()
    builder.MakeSolid(solid)
    builder.Add(solid, shells[0])
    return _outward(solid)


def _ribbon(curve: Curve, near: float, reach: float) -> Any:
    """The face of all radial lines through a curve of the rim, from radius `near` to `reach`, mm."""
    knots, counts = np.unique(curve.knots, return_counts=True)
    poles = Array2_gp_Pnt(1, len(curve.poles), 1, 2)
    for k, (c, s, z) in enumerate(curve.poles, start=1):
        for side, radius in ((1, near), (2, reach)):
            poles.SetValue(k, side, gp_Pnt(float(-radius * c), float(radius * s), float(z)))
    surface = Geom_BSplineSurface(
        poles, _numbers(knots), _numbers(np.array([0.0, 1.0])), _counts(counts), _counts(np.array([2, 2])), curve.degree, 1
    )
    return BRepBuilderAPI_MakeFace(surface, SEWN).Face()


def _numbers(values: Array) -> Any:
    array = Array1_double(1, len(values))
    for k, value in enumerate(values, start=1):
        array.SetValue(k, float(value))
    return array


def _counts(values: Any) -> Any:
    array = Array1_int(1, len(values))
    for k, value in enumerate(values, start=1):
        array.SetValue(k, int(value))
    return array


def _listed(shapes: Sequence[Any]) -> Any:
    found = List_TopoDS_Shape()
    for shape in shapes:
        found.Append(shape)
    return found
