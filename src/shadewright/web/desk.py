"""What one working process keeps of the designs it was lately asked about, so that a moving slider finds it ready."""

from __future__ import annotations

import marshal
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.keepout import Entries, KeepOut, keep_out
from shadewright.design.walls import default_wall
from shadewright.errors import FitError
from shadewright.model.camera import Camera
from shadewright.model.documents import document_from
from shadewright.model.geometry import shape_of, wall_of
from shadewright.model.hood import Hood, Margin, RimShape
from shadewright.model.lens import Lens, SeatPlace
from shadewright.model.shape import HoodShape, MeshHood, Rim, RoundHood, RoundWall, TunnelHood, TunnelWall, Wall
from shadewright.optics.beam import Beam, Job, job
from shadewright.web.wire import Alter, Design, Tree

Array = NDArray[np.float64]
Value = TypeVar("Value")

NODES = 720
"""Places round the rim at which the limits are known, half a degree apart."""
STEPS = (8, 4, 2, 1)
"""Intervals between neighbouring listed settings, the finest first: as fine as a check's where that stays quick."""
MOST_BEAMS, MOST_TRACED = 1500, 40
"""Beams that a live limit is taken over, of a measured and of a traced lens."""
KEPT = 48
"""Values of each sort that are kept."""
NO_MARGIN = Margin(radial=0.0, axial=0.0, rotation=0.0)


class Memory:
    """The values lately worked out, by key: the least lately used is dropped."""

    def __init__(self, most: int = KEPT) -> None:
        self.most = most
        self.kept: OrderedDict[Hashable, Any] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """The value of a key, made where it is not kept."""
        if key in self.kept:
            self.kept.move_to_end(key)
        else:
            self.kept[key] = make()
            if len(self.kept) > self.most:
                self.kept.popitem(last=False)
        return cast(Value, self.kept[key])


@dataclass(frozen=True, eq=False)
class Limits:
    """How far a rim may reach at the NODES azimuths, mm.

    deepest: under the margin, no further than the largest length. state: the beam that binds there, -1 for none.
    limit: without margin; above it the hood shows. limit_state: likewise. labels: of the beams.
    """

    deepest: Array
    state: NDArray[np.int64]
    limit: Array
    limit_state: NDArray[np.int64]
    labels: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Scene:
    """A design ready to be looked at. key: of what the keep-out rests on; shape_key: of the hood's shape."""

    lens: Lens
    camera: Camera
    hood: Hood
    job: Job
    wall: Wall | None
    shape: HoodShape
    provisional: bool
    key: Hashable
    shape_key: Hashable


def turns_with_front(lens: Lens) -> bool:
    """Whether the hood turns with the front, so that only a plain rim serves."""
    return lens.front.turns and lens.seat.on in (SeatPlace.FRONT, SeatPlace.THREAD)


class Desk:
    """Documents, jobs, keep-outs and limits of the designs lately asked about. meshes: folder of the uploaded STL."""

    def __init__(self, meshes: Path) -> None:
        self.meshes = meshes
        self.documents, self.jobs, self.keepouts = Memory(), Memory(), Memory(24)
        self.limits_kept, self.extents, self.maps = Memory(), Memory(), Memory(24)
        self.shapes, self.meshes_kept = Memory(), Memory(6)

    def lens(self, tree: Tree) -> Lens:
        """The lens of a document's fields. Raises DocumentError."""
        return self.documents.get(("lens", _key(tree)), lambda: document_from(tree, Lens, name="lens"))

    def camera(self, tree: Tree) -> Camera:
        """The camera of a document's fields. Raises DocumentError."""
        return self.documents.get(("camera", _key(tree)), lambda: document_from(tree, Camera, name="camera"))

    def hood(self, tree: Tree | None) -> Hood:
        """The hood of a document's fields, or the default wishes. Raises DocumentError."""
        tree = tree if tree is not None else {"document": "hood", "version": 1, "name": "hood"}
        return self.documents.get(("hood", _key(tree)), lambda: document_from(tree, Hood, name="hood"))

    def job(self, design: Design, hood: Hood) -> Job:
        """The lens on the camera. Raises DocumentError, OpticsError."""
        lens, camera = self.lens(design.lens), self.camera(design.camera)
        return self.jobs.get(
            _job_key(design, hood), lambda: job(lens, camera, use=hood.use, accessories=hood.accessory)
        )

    def shape_given(self, hood: Hood, mesh: str | None) -> HoodShape:
        """The geometry of a hood whose rim is given. Raises FitError, FileError."""
        if hood.rim.stl is None:
            return shape_of(hood)
        from shadewright.web.meshes import mesh_path

        if mesh is None:
            raise FitError("rim.stl: the mesh itself is missing; choose the STL file as well.")
        path = mesh_path(self.meshes, mesh)

        def read() -> MeshHood:
            from shadewright.make.meshfiles import read_stl

            return read_stl(path)

        return self.meshes_kept.get(mesh, read)

    def scene(self, design: Design, alter: Alter) -> Scene:
        """A design ready to be looked at, its rim altered. Raises DocumentError, OpticsError, FitError, FileError."""
        lens, camera = self.lens(design.lens), self.camera(design.camera)
        tree = design.hood
        if alter.rim is not None:
            base = tree if tree is not None else {"document": "hood", "version": 1, "name": "hood"}
            rim = base.get("rim")
            shape = rim.get("shape") if isinstance(rim, dict) else None
            points = [list(pair) for pair in alter.rim]
            tree = {**base, "rim": {"points": points} if shape is None else {"shape": shape, "points": points}}
        hood = self.hood(tree)
        work = self.job(design, hood)
        provisional = not hood.rim.given
        wall: Wall | None = None
        if hood.rim.stl is None:
            wanted = RimShape.PLAIN if turns_with_front(lens) else hood.rim.shape
            if hood.wall is None and provisional:
                hood = hood.model_copy(update={"wall": default_wall(work, wanted)})
            wall = None if hood.wall is None else wall_of(hood.wall)
        key, hood_key = _job_key(design, hood), _key(tree)
        if provisional:
            assert wall is not None
            shape_found = self._stand_in(work, hood, wall, key)
        else:
            given = hood
            shape_found = self.shapes.get((hood_key, design.mesh), lambda: self.shape_given(given, design.mesh))
        shape_found = moved(shape_found, alter.moved)
        shape_key = (key, hood_key, design.mesh, alter.moved)
        return Scene(lens, camera, hood, work, wall, shape_found, provisional, key, shape_key)

    def _stand_in(self, work: Job, hood: Hood, wall: Wall, key: Hashable) -> HoodShape:
        """The deepest rim under the margin on the wall asked for: what is shown until the hood is fitted."""
        if isinstance(wall, TunnelWall):
            lips, _found = self.keepout(work, key, hood.margin).tunnel(wall, cap=hood.wishes.largest_length)
            return TunnelHood(wall, lips)
        limits = self.limits(work, hood, wall, key, hood.wishes.largest_length)
        if hood.rim.shape is RimShape.PLAIN or turns_with_front(work.lens):
            return RoundHood(wall, Rim.plain(float(np.min(limits.deepest))))
        return RoundHood(wall, Rim.from_arrays(np.arange(NODES) * 360.0 / NODES, limits.deepest))

    def keepout(self, work: Job, key: Hashable, margin: Margin) -> KeepOut:
        """The keep-out over all settings, as densely swept as stays quick."""

        def make() -> KeepOut:
            most = MOST_BEAMS if work.lens.prescription is None else MOST_TRACED
            for steps in STEPS:
                settings = work.swept(steps)
                each = len(work.variants(settings[0]))
                if len(settings) * each <= most or steps == STEPS[-1]:
                    break
            return keep_out(work.beams(settings), margin=margin)

        return self.keepouts.get((key, margin), make)

    def limits(self, work: Job, hood: Hood, wall: RoundWall, key: Hashable, reach: float) -> Limits:
        """How far the rim may reach on a round wall, looked at beyond `reach` mm."""
        cap = 50.0 * np.ceil((max(reach, hood.wishes.largest_length) + 20.0) / 50.0)
        largest = hood.wishes.largest_length
        whole = (key, "limits", hood.margin, wall, cap, largest)

        def make() -> Limits:
            azimuth = np.arange(NODES) * 360.0 / NODES
            grown = self.keepout(work, key, hood.margin)
            still = replace(grown, margin=grown.margin.model_copy(update={"rotation": 0.0}))
            deepest, state = _with_play(still.rim(wall, azimuth, cap=largest), hood.margin.rotation)
            bare = self.keepout(work, key, NO_MARGIN).rim(wall, azimuth, cap=float(cap))
            return Limits(deepest, state, bare.value, bare.state, tuple(beam.label for beam in grown.beams))

        return self.limits_kept.get(whole, make)

    def telling(self, scene: Scene, beams: list[Beam]) -> tuple[Beam, Array | None]:
        """The beam of a setting's variants that comes nearest to the rim, and the limit here (NODES / 2,) where round."""
        shape = scene.shape
        if isinstance(shape, MeshHood):
            return beams[len(beams) // 2], None
        own = keep_out(beams)
        if isinstance(shape, TunnelHood):
            lips, found = own.tunnel(shape.wall, cap=shape.rim.deepest + 100.0)
            spare = np.array([getattr(lips, n) - getattr(shape.rim, n) for n in ("right", "top", "left", "bottom")])
            k = int(np.argmin(spare))
            state = int(found[k].state[0])
            return beams[state if state >= 0 else len(beams) // 2], None
        azimuth = np.arange(0.0, 360.0, 720.0 / NODES)
        entries = own.rim(shape.wall, azimuth, cap=shape.rim.deepest + 100.0)
        state = int(entries.state[int(np.argmin(entries.value - shape.rim.z_at(azimuth)))])
        return beams[state if state >= 0 else len(beams) // 2], entries.value


def _with_play(entries: Entries, degrees: float) -> tuple[Array, NDArray[np.int64]]:
    """The least of a rim on even azimuths over the rotational play, and what binds there."""
    n = len(entries.value)
    play = int(np.ceil(degrees * n / 360.0 - 1e-9))
    if play == 0:
        return entries.value, entries.state
    around = (np.arange(n)[:, None] + np.arange(-play, play + 1)[None, :]) % n
    least = around[np.arange(n), np.argmin(entries.value[around], axis=1)]
    return entries.value[least], entries.state[least]


def moved(shape: HoodShape, dz: float) -> HoodShape:
    """A hood moved forward by dz mm, its wall staying where it is."""
    if dz == 0.0:
        return shape
    if isinstance(shape, MeshHood):
        return MeshHood(shape.vertices + np.array([0.0, 0.0, dz]), shape.faces)
    if isinstance(shape, TunnelHood):
        return TunnelHood(shape.wall, shape.rim.moved(dz))
    return RoundHood(shape.wall, shape.rim.moved(dz))


def _job_key(design: Design, hood: Hood) -> Hashable:
    """What a job rests on."""
    return _key(design.lens), _key(design.camera), hood.use, hood.accessory


def _key(tree: Tree | None) -> bytes:
    """A document's fields as bytes: the same for the same fields in the same order."""
    # The second format knows no references, so that equal trees give equal bytes.
    return marshal.dumps(tree, 2)
