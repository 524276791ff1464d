"""From a hood's shape and its build to one closed solid, ready for a file.

All coordinates are seat coordinates: x to the right, y up, z forward as seen from behind the camera. They
form a left-handed system; mesh files are right-handed, so `meshfiles` turns x round when it writes and reads.

The solid is the turned half-section of wall and foot, with the seat's details, kept to what lies under the
rim. At the end its vertices are put on a grid that 32-bit numbers hold exactly, so that what is checked is
what is written.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from shadewright.errors import MakeError
from shadewright.make.clamp import check_clamp, clamp_note, split_clamp
from shadewright.make.kit import Kit, MeshKit, Trim
from shadewright.make.profile import AHEAD, GRID, outer_line, outer_radius, part_section, parts, passage
from shadewright.make.rings import Ring, rings_by_part, rings_notes
from shadewright.make.seat import (
    WEB,
    Foot,
    Grip,
    Screw,
    bore_of,
    grip_foot,
    grip_of,
    screw_foot,
    screw_of,
    seat_section,
)
from shadewright.make.section import area, band, joined, solid_of, turned, united
from shadewright.make.tunnel import grip_tunnel, screw_tunnel
from shadewright.model.hood import Build, SeatKind
from shadewright.model.shape import Array, HoodShape, Rim, RoundHood, TunnelHood

MERGE = 2.0**-11
"""Slivers narrower than this are merged away before vertices are put on the grid, mm."""
CRUMB = 1e-3
"""A separate piece smaller than this, in mm3, is rounding dust and is dropped."""
MARK_RISE = 0.8
"""How far the index mark stands out, mm."""
MARK_WIDTH = 5.0
MARK_HEIGHT = 5.0
LEAST_MARK = 3.5
"""A mark less high than this, in mm, would be a sliver on its sloping foot; it is left out."""
RING_LENGTH = 5.0
"""Length of a fit ring, mm; a threaded one has 4 mm of thread, or three pitches, and a flange."""
SEGMENTS = (24, 2880)
"""Fewest and most facets round a turned surface."""


@dataclass(frozen=True)
class Solid:
    """A closed body: `vertices` (n, 3) mm in seat coordinates, `faces` (m, 3) counter-clockwise from outside
    in those numbers, its volume in mm3, and plain sentences for whoever makes it.
    """

    vertices: Array
    faces: NDArray[np.int64]
    name: str
    volume: float
    notes: tuple[str, ...]


def build_hood(
    hood: HoodShape, build: Build, *, seat_diameter: float, thread: str | None, rings: Sequence[Ring] = (),
    segments: int = 360, name: str = "hood",
) -> Solid:  # fmt: skip
    """The hood as one closed solid, seat behind z = 0 and wall ahead of it.

    `seat_diameter` (mm) is what a ring or clamp grips; `thread` names what a threaded seat is, such as
    "M77x0.75"; `rings` are its vanes and ridges. Raises MakeError where the hood cannot be made as asked.
    """
    _check_segments(segments)
    body, notes = assembled(
        hood, build, MeshKit(segments), seat_diameter=seat_diameter, thread=thread, rings=rings
    )
    return finished(body, name, ("Print it standing on the seat end, rim up.", *notes))


def assembled(
    hood: HoodShape, build: Build, kit: Kit, *, seat_diameter: float, thread: str | None, rings: Sequence[Ring] = ()
) -> tuple[Any, list[str]]:
    """Wall, foot, seat, rings and mark put together with the operations of `kit`, and notes. Raises MakeError."""
    seat = _seat(build, seat_diameter, thread)
    if isinstance(hood, RoundHood):
        body, foot = _round_body(hood, build, seat, kit, rings)
    elif isinstance(hood, TunnelHood):
        rounding = _rounding(build)
        if isinstance(seat, Grip):
            body, foot = grip_tunnel(hood, seat, build.thickness, rounding, kit=kit)
        else:
            body, foot = screw_tunnel(hood, seat, build.thickness, rounding, kit=kit)
    else:
        raise MakeError("hood: it is given as a mesh already, so there is nothing to build; use the mesh itself.")

    notes = []
    if isinstance(seat, Screw):
        body = kit.joined([body, kit.teeth(seat)])
        notes.append(_thread_note(thread, seat))
    notes += foot.notes
    notes += rings_notes(rings, hood)
    if isinstance(seat, Grip) and seat.split:
        body = split_clamp(body, seat, build.thickness, kit=kit)
        notes.append(clamp_note(_half_width(hood) + build.thickness - seat.outer))
    if build.index_mark:
        mark = _index_mark(hood, build, foot.top, kit)
        if mark is None:
            notes.append("No index mark: the top of the wall is too low to carry one.")
        else:
            body = kit.joined([body, mark])
            notes.append("The raised arrow on the outside marks the top of the picture.")
    return body, notes


def fit_ring(
    build: Build, *, seat_diameter: float, thread: str | None, segments: int = 360, name: str = "fit ring"
) -> Solid:  # fmt: skip
    """The seat alone and short, to try the fit before the hood is made: same diameters, same compensations.

    A clamp's ring comes without slit: it must slide on, and the clamp then closes from there. Raises
    MakeError.
    """
    _check_segments(segments)
    length = RING_LENGTH
    if build.seat is SeatKind.THREAD:
        pitch = screw_of(build.model_copy(update={"seat_length": 100.0}), thread).profile.pitch
        length = max(4.0, 3.0 * pitch)
    seat = _seat(build.model_copy(update={"seat_length": length}), seat_diameter, thread, ring=True)
    empty = bore_of(seat)
    if isinstance(seat, Screw):
        empty = united([empty, band(0.0, seat.bore, -1.0, WEB + 1.0)])
    body = turned(seat_section(seat) - empty, segments)
    if isinstance(seat, Screw):
        body = joined([body, MeshKit(segments).teeth(seat)])
        notes: tuple[str, ...] = (f"It must screw into the lens's {thread} thread by hand, without force.",)
    else:
        notes = (
            f"It must go on to the {seat_diameter:g} mm barrel by hand; if it does not, change "
            "hole_compensation by what is missing and make it again.",
        )
    return finished(body, name, notes)


def _check_segments(segments: int) -> None:
    low, high = SEGMENTS
    if not low <= segments <= high:
        raise MakeError(f"segments {segments}: a round wall takes {low} to {high} facets; choose one of these.")


def _seat(build: Build, seat_diameter: float, thread: str | None, *, ring: bool = False) -> Grip | Screw:
    """The seat's numbers. Raises MakeError."""
    if build.seat is SeatKind.THREAD:
        return screw_of(build, thread)
    grip = grip_of(build, seat_diameter, split=build.seat is SeatKind.CLAMP and not ring)
    if grip.split:
        check_clamp(grip, build.thickness)
    return grip


def _half_width(hood: RoundHood | TunnelHood) -> float:
    """Largest inside distance of the wall from the axis at the seat plane, mm."""
    if isinstance(hood, TunnelHood):
        return math.hypot(hood.wall.half_width, hood.wall.half_height)
    return float(hood.wall.radius_at(AHEAD))


def _rounding(build: Build) -> float:
    """Radius of the rim's edges, mm: what is asked, and less than half the wall."""
    return min(build.rim_rounding, 0.45 * build.thickness)


def _round_body(hood: RoundHood, build: Build, seat: Grip | Screw, kit: Kit, rings: Sequence[Ring]) -> tuple[Any, Foot]:
    """Wall, rings and foot under the rim. Raises MakeError."""
    lowest, top = hood.rim.shallowest, hood.rim.deepest + 1.0
    if not (math.isfinite(top) and math.isfinite(lowest)):
        raise MakeError("rim: it holds a value that is not a number; make the rim again.")
    near = float(hood.wall.radius_at(AHEAD))
    if near < 2.0:
        raise MakeError(f"wall: its inside radius at the seat plane is {near:.2f} mm; it must be 2 mm at least.")
    thickness, rounding = build.thickness, _rounding(build)
    join = grip_foot if isinstance(seat, Grip) else screw_foot
    foot = join(seat, hood.wall, thickness, room=lowest - rounding, lowest=lowest)  # type: ignore[arg-type]

    middle = float(hood.wall.radius_at(max(lowest, AHEAD))) + thickness / 2.0
    widest = float(hood.wall.radius_at(top)) + thickness
    narrow, wide = (seat.bore, seat.face) if isinstance(seat, Screw) else (seat.inner, seat.outer)
    within = min((ring.inner_radius for ring in rings), default=math.inf)
    trim = Trim(
        hood.rim, rounding, middle, near=0.5 * min(near, narrow, within), reach=max(widest, wide) + 20.0,
        bottom=-seat.length - 10.0, within=within,
    )  # fmt: skip
    clear = passage(hood.wall, top)
    stretches = parts(hood.wall, thickness, top)
    standing = rings_by_part(rings, hood, stretches, thickness=thickness, rounding=rounding)
    pieces = []
    for number, part in enumerate(stretches):
        section = part_section(part, thickness)
        if number == 0:
            section = united([section, *foot.body])
        section = section - clear
        if number == 0:
            section = united([section, *foot.inside])
        for tool in foot.cuts:
            section = section - tool
        pieces.append((part, united([section, *standing[number]])))
    return kit.under_rim(pieces, trim), foot


def _thread_note(thread: str | None, screw: Screw) -> str:
    return (
        f"The {thread} thread is right-handed, 6g, with a clear bore of {2.0 * screw.bore:.1f} mm; a thread "
        "stops at whatever angle it likes, so bring the index mark to the top and hold it there, if the rim "
        "is not the same all round."
    )


# --- the index mark -----------------------------------------------------------------------------------------


def _index_mark(hood: RoundHood | TunnelHood, build: Build, bottom: float, kit: Kit) -> Any | None:
    """A small gable on the outside at the top, pointing forward, or None where there is no room for one."""
    low = bottom + 0.5
    if isinstance(hood, TunnelHood):
        limit = hood.rim.top
        outside = hood.wall.half_height + build.thickness
        half = min(MARK_WIDTH / 2.0, 0.8 * hood.wall.half_width)
    else:
        outside = float(hood.wall.radius_at(max(low, AHEAD))) + build.thickness
        half = min(MARK_WIDTH / 2.0, 0.3 * outside)
        limit = _lowest_near(hood.rim, 90.0, float(np.degrees(1.2 * half / outside)))
    high = min(low + MARK_HEIGHT, limit - _rounding(build) - 0.3)
    if high - low < LEAST_MARK:
        return None
    deep = min(0.4 * build.thickness, 0.6)
    if isinstance(hood, TunnelHood):
        return _prism(kit, half, low, high, outside - deep, outside + MARK_RISE, slope=MARK_RISE + deep)
    prism = _prism(kit, half, low, high, 0.5 * outside, outside + MARK_RISE + 2.0 * (high - low) + 50.0, slope=0.0)
    ends = (low, low + MARK_RISE + deep + 1e-9, high + 1.0)
    turns = [z for z, _ in outer_line(hood.wall, build.thickness, hood.rim.deepest + 1.0) if low < z < high + 1.0]
    z = np.array(sorted({*ends, *turns}))
    surface = outer_radius(hood.wall, build.thickness, z, top=hood.rim.deepest + 1.0)
    return kit.common(prism, kit.turned(_mark_shell(z, surface, deep)))


def _lowest_near(rim: Rim, azimuth: float, half: float) -> float:
    """The least z of the rim within `half` degrees of `azimuth`, mm."""
    away = (np.asarray(rim.azimuth) - azimuth + 180.0) % 360.0 - 180.0
    inside = np.asarray(rim.z)[np.abs(away) < half]
    return float(np.min(np.concatenate([inside, rim.z_at(np.array([azimuth - half, azimuth + half]))])))


def _prism(kit: Kit, half: float, low: float, high: float, inner: float, outer: float, *, slope: float) -> Any:
    """A bar along y with the outline of a gable house; its lower face rises by `slope` mm outwards."""
    eaves = low + 0.6 * LEAST_MARK
    rings = [
        [(-half, y, foot), (-half, y, eaves), (0.0, y, high), (half, y, eaves), (half, y, foot)]
        for y, foot in ((inner, low), (outer, low + slope))
    ]
    return kit.loft(np.array(rings))


def _mark_shell(z: Array, radius: Array, deep: float) -> Any:
    """Half-section of a skin on the outer surface, from `deep` inside it, its lower end sloping outwards."""
    inner = list(zip((radius - deep).tolist(), z.tolist(), strict=True))
    raised = z > z[0] + MARK_RISE + deep
    outer = list(zip((radius + MARK_RISE)[raised].tolist(), z[raised].tolist(), strict=True))
    return area([*inner, *reversed(outer)])


# --- finishing ----------------------------------------------------------------------------------------------


def finished(body: Any, name: str, notes: tuple[str, ...]) -> Solid:
    """`body` as one closed mesh on the grid. Raises MakeError where it is not one closed body."""
    pieces = [piece for piece in body.decompose() if piece.volume() > CRUMB]
    if len(pieces) != 1:
        raise MakeError(
            f"{name}: it would fall into {len(pieces)} pieces; make the wall thicker, or the rim smoother or higher."
        )
    whole = pieces[0].as_original()
    # Merging slivers can, rarely, tear a mesh with many faces in one plane. The volume tells; the mesh is then taken
    # with all its slivers.
    for tolerance, apart in ((MERGE, False), (2.0 * MERGE, True), (0.0, False), (0.0, True)):
        vertices, faces = _on_grid(whole, tolerance, apart)
        volume = enclosed_volume(vertices, faces)
        same = abs(volume - whole.volume()) <= (tolerance + GRID) * whole.surface_area()
        if same and is_closed(faces) and solid_of(vertices, faces.astype(np.uint64)).status() == m3.Error.NoError:
            return Solid(vertices, faces, name, volume, notes)
    raise MakeError(f"{name}: its surface does not close on the file's grid; change the rim or wall a little.")


def _on_grid(body: Any, tolerance: float, apart: bool) -> tuple[Array, NDArray[np.int64]]:
    """The mesh of `body` with slivers below `tolerance` (mm) merged away and every vertex on the grid.

    The second round merges what the grid has made fall together; it keeps a subset of the vertices, so they stay on
    the grid. With `apart`, vertices that still fall together are moved apart.
    """
    for _ in range(2 if tolerance > 0.0 else 1):
        mesh = (body.simplify(tolerance) if tolerance > 0.0 else body).to_mesh64()
        vertices = np.round(np.asarray(mesh.vert_properties)[:, :3] / GRID) * GRID + 0.0
        faces = np.array(mesh.tri_verts, dtype=np.int64)
        body = solid_of(_parted(vertices) if apart else vertices, faces.astype(np.uint64))
    return merged(_parted(vertices) if apart else vertices, faces)


def _parted(vertices: Array) -> Array:
    """Vertices that fall together moved apart, each one grid step further along x than the one before."""
    _, place = np.unique(vertices, axis=0, return_inverse=True)
    order = np.argsort(place.reshape(-1), kind="stable")
    grouped = place.reshape(-1)[order]
    rank = np.arange(len(order)) - np.searchsorted(grouped, grouped)
    moved = vertices.copy()
    moved[order, 0] += rank * GRID
    return moved


def merged(vertices: Array, faces: NDArray[np.int64]) -> tuple[Array, NDArray[np.int64]]:
    """The mesh with equal vertices made one and faces without three distinct corners dropped."""
    distinct, place = np.unique(vertices, axis=0, return_inverse=True)
    faces = place.reshape(-1)[faces]
    a, b, c = faces.T
    faces = faces[(a != b) & (b != c) & (c != a)]
    used, faces = np.unique(faces, return_inverse=True)
    return np.asarray(distinct[used], dtype=float), np.asarray(faces.reshape(-1, 3), dtype=np.int64)


def is_closed(faces: NDArray[np.int64]) -> bool:
    """True where every directed edge occurs once and its reverse once."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    count = int(faces.max()) + 1
    forward = np.sort(edges[:, 0] * count + edges[:, 1])
    backward = np.sort(edges[:, 1] * count + edges[:, 0])
    return bool(np.array_equal(forward, backward) and np.all(np.diff(forward) > 0))


def enclosed_volume(vertices: Array, faces: NDArray[np.int64]) -> float:
    """Volume enclosed by a closed mesh, mm3, by the divergence theorem; positive where faces look outwards."""
    a, b, c = vertices[faces[:, 0]], vertices[faces[:, 1]], vertices[faces[:, 2]]
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)
