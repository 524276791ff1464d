"""One hood of a search: its wall, rim and sizes, what it lets in, and what it costs to carry."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.keepout import KeepOut, keep_out
from shadewright.design.fit import fit, shape_under
from shadewright.design.walls import inside_needed, require_room
from shadewright.design.weigh import weighed_settings
from shadewright.errors import FitError, LightError, SearchError
from shadewright.light.finish import Finish
from shadewright.light.scene import Scene, scene_of
from shadewright.light.share import light_map
from shadewright.light.surroundings import Prepared
from shadewright.light.wall_light import Sky, WallLight, wall_light
from shadewright.model.camera import Camera
from shadewright.model.geometry import wall_of
from shadewright.model.hood import Hood, RimPart, RimShape, Step, WallPart, WallShape
from shadewright.model.lens import Lens, SeatPlace
from shadewright.model.shape import HoodShape, RoundHood, TunnelHood, TunnelWall
from shadewright.model.surroundings import Surroundings
from shadewright.optics.beam import Job, job

Array = NDArray[np.float64]

CELLS = 61
"""Cells across the map of lit share of a hood in a search."""
PER_NODE = 4
"""Places per half degree at which the deepest rim is known while searching; what is kept is fitted as finely as ever."""
SWEEP = 4
"""Settings between neighbouring listed ones while searching."""
SAMPLES = 512
"""Points of the hood for each wall light of a search."""
SEARCH_SKY = Sky(16, 24)
"""Cells at which the wall light of a search is summed."""
STEP_AT = 0.5
"""Where a stepped wall steps out, as a share of its length."""
DENSITY = 1.27
"""Of a common printed polymer (PETG), g/cm³; from memory, about 2 % either way."""
WIDEST_START = 1.6
"""Without a limit across, a wall starts at most this many times as wide as the lens needs."""


class Size(StrEnum):
    """What light is traded against."""

    VOLUME = "volume"  # of the cylinder, or the box of a tunnel, that the hood fills, cm³
    LENGTH = "length"  # ahead of the seat, mm
    ACROSS = "across"  # greatest outside dimension across the axis, mm
    MASS = "mass"  # printed solid, g
    STORED = "stored"  # length that covers the barrel when reversed, mm


@dataclass(frozen=True)
class Limits:
    """The largest hood wanted; infinity where there is no limit. Lengths in mm, mass in g.

    across: outside. length: ahead of the seat. stored: from the seat's rear edge to the tip, what it covers of the
    barrel when reversed; a limit here leaves tunnels out, which cannot be reversed.
    """

    across: float = math.inf
    length: float = math.inf
    mass: float = math.inf
    stored: float = math.inf

    def __post_init__(self) -> None:
        for entry in fields(self):
            value = getattr(self, entry.name)
            if not value > 0 or math.isnan(value):
                raise SearchError(f"--{entry.name} = {value:g} must be more than 0; correct it.")


@dataclass(frozen=True)
class Task:
    """What every process of a search needs to know; frozen, so that each works its lens out once."""

    lens: Lens
    camera: Camera
    hood: Hood
    limits: Limits
    size: Size
    surroundings: Surroundings
    finishes: tuple[Finish, ...]
    """Finishes of the inside, the one that is traded on first; none: direct light alone."""


@dataclass(frozen=True, order=True)
class Design:
    """A hood of a search. sizes in mm: tube (inside), cone (near, far), stepped (near, far), tunnel (width, height)."""

    wall: WallShape
    rim: RimShape
    sizes: tuple[float, ...]
    length: float

    def wall_part(self) -> WallPart:
        """The wall as a document holds it."""
        if self.wall is WallShape.TUBE:
            return WallPart(shape=self.wall, inner_diameter=self.sizes[0])
        if self.wall is WallShape.CONE:
            return WallPart(shape=self.wall, near_diameter=self.sizes[0], far_diameter=self.sizes[1], far_z=self.length)
        if self.wall is WallShape.STEPPED:
            steps = (Step(z=0.0, diameter=self.sizes[0]), Step(z=STEP_AT * self.length, diameter=self.sizes[1]))
            return WallPart(shape=self.wall, steps=steps)
        return WallPart(shape=self.wall, inner_width=self.sizes[0], inner_height=self.sizes[1])

    def wishes(self, hood: Hood) -> Hood:
        """The hood document that asks for this design."""
        wanted = hood.wishes.model_copy(update={"largest_length": self.length})
        return hood.model_copy(update={"wall": self.wall_part(), "rim": RimPart(shape=self.rim), "wishes": wanted})

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {"wall": str(self.wall), "rim": str(self.rim), "sizes": list(self.sizes), "length": self.length}

    @classmethod
    def from_json(cls, tree: Mapping[str, Any]) -> Design:
        """The design that `as_json` wrote."""
        sizes = tuple(float(v) for v in tree["sizes"])
        return cls(WallShape(tree["wall"]), RimShape(tree["rim"]), sizes, float(tree["length"]))


@dataclass(frozen=True)
class Outcome:
    """What a design came to. Lengths in mm, mass in g, shares of the light on the glass without a hood.

    direct: mean over the settings weighed. walls: wall light for each finish of the task. reason: why there is no such
    hood, or why it is beyond a limit; empty for a hood that counts.
    """

    reason: str = ""
    direct: float = math.nan
    walls: tuple[float, ...] = ()
    depth: float = math.nan
    shallowest: float = math.nan
    across: float = math.nan
    mass: float = math.nan
    stored: float = math.nan
    volume: float = math.nan

    @property
    def light(self) -> float:
        """Direct light and the wall light of the first finish."""
        return self.direct + (self.walls[0] if self.walls else 0.0)

    def size(self, size: Size) -> float:
        """The size that is traded against."""
        return self.depth if size is Size.LENGTH else float(getattr(self, str(size)))

    def as_json(self) -> dict[str, Any]:
        """Plain values; the reason alone where there is no hood."""
        if self.reason:
            return {"reason": self.reason}
        return {entry.name: getattr(self, entry.name) for entry in fields(self) if entry.name != "reason"}

    @classmethod
    def from_json(cls, tree: Mapping[str, Any]) -> Outcome:
        """The outcome that `as_json` wrote."""
        values = dict(tree)
        if "walls" in values:
            values["walls"] = tuple(values["walls"])
        return cls(**values)


@dataclass(frozen=True)
class Family:
    """Designs of one wall and rim shape, with the range of each of their numbers in mm, the length last."""

    wall: WallShape
    rim: RimShape
    ranges: tuple[tuple[float, float], ...]

    def design(self, place: tuple[float, ...]) -> Design:
        """The design at a place of the unit box, sizes to 0.1 mm so that equal hoods are known as equal."""
        values = [round(low + u * (high - low), 1) for u, (low, high) in zip(place, self.ranges, strict=True)]
        if self.wall in (WallShape.CONE, WallShape.STEPPED):
            # The second number is by how much the far end is wider.
            values[1] = round(values[0] + values[1] * (_widest(self) - values[0]), 1)
        return Design(self.wall, self.rim, tuple(values[:-1]), values[-1])


def _widest(family: Family) -> float:
    return family.ranges[0][1]


def families(task: Task) -> list[Family]:
    """The shapes that the limits and the lens allow. Raises SearchError where none does."""
    work = base_of(task).job
    thickness = task.hood.build.thickness
    least = inside_needed(work)
    if task.lens.seat.on is SeatPlace.THREAD:
        least = max(2 * s.front_radius for s in work.resolved.settings) + 1.0
    most = min(task.limits.across - 2 * thickness, WIDEST_START * least)
    if most < least:
        raise SearchError(
            f"--across = {task.limits.across:g}: the lens needs {least + 2 * thickness:g} mm outside at the least; allow more."
        )
    front = max(s.reach for s in work.resolved.settings) - work.stack
    longest = min(task.limits.length, task.hood.wishes.largest_length, task.limits.stored - task.hood.build.seat_length)
    shortest = max(front, 0.0) + 3.0
    if longest < shortest:
        raise SearchError(
            f"the limits leave {longest:g} mm ahead of the seat, and the front itself needs {shortest:g} mm with 3 mm to "
            "spare; allow a longer hood."
        )
    along = (shortest, longest)
    turning = task.lens.front.turns and task.lens.seat.on in (SeatPlace.FRONT, SeatPlace.THREAD)
    rims = [RimShape.PLAIN] if turning else [RimShape.PLAIN, RimShape.PETAL]
    found = []
    for rim in rims:
        found.append(Family(WallShape.TUBE, rim, ((least, most), along)))
        if most - least >= 1.0:
            found.append(Family(WallShape.CONE, rim, ((least, most), (0.0, 1.0), along)))
            found.append(Family(WallShape.STEPPED, rim, ((least, most), (0.0, 1.0), along)))
    if not turning and math.isinf(task.limits.stored):
        ratio = work.half_width / work.half_height
        width, height = (least, least * max(ratio, 1.0)) if ratio < 1 else (least * ratio, least)
        widest = min(task.limits.across - 2 * thickness, WIDEST_START * width)
        highest = min(task.limits.across - 2 * thickness, WIDEST_START * height)
        if widest >= least and highest >= least:
            found.append(Family(WallShape.TUNNEL, RimShape.TUNNEL, ((least, widest), (least, highest), along)))
    return found


@dataclass(frozen=True, eq=False)
class Base:
    """A lens on its camera and a keep-out of few settings, which serves every wall while searching."""

    job: Job
    keepout: KeepOut


@lru_cache(maxsize=4)
def base_of(task: Task) -> Base:
    """The base of a task, worked out once in each process. Raises OpticsError."""
    work = job(task.lens, task.camera, use=task.hood.use, accessories=task.hood.accessory)
    return Base(work, keep_out(work.beams(work.swept(SWEEP)), margin=task.hood.margin))


def evaluate(task: Task, design: Design) -> Outcome:
    """What a design comes to, from a keep-out of few settings; what is kept of a search is fitted properly."""
    if design.wall in (WallShape.CONE, WallShape.STEPPED) and design.sizes[1] - design.sizes[0] < 0.5:
        return Outcome(reason="is a tube, and tried as one")
    base = base_of(task)
    wishes = design.wishes(task.hood)
    try:
        wall = wall_of(design.wall_part())
        require_room(base.job, wall, task.hood.accessory)
        if wishes.wishes.allowance > 0:
            shape = fit(task.lens, task.camera, wishes).shape
        else:
            shape = shape_under(base.keepout, wall, wishes, design.rim, per_node=PER_NODE)
    except FitError as error:
        return Outcome(reason=str(error))
    return weighed(task, base.job, shape)


def weighed(task: Task, work: Job, shape: HoodShape) -> Outcome:
    """A hood's light and size, and which limit it breaks."""
    assert isinstance(shape, RoundHood | TunnelHood)
    depth, build = shape.rim.deepest, task.hood.build
    across, volume = _outside(shape, build.thickness, build.seat_length)
    mass = mass_of(shape, thickness=build.thickness, seat_length=build.seat_length, seat_diameter=_seat(task))
    stored = depth + build.seat_length
    front = max(s.reach for s in work.resolved.settings) - work.stack
    for name, value, limit, unit in (
        ("across", across, task.limits.across, "mm"), ("mass", mass, task.limits.mass, "g"),
        ("length", depth, task.limits.length, "mm"), ("stored", stored, task.limits.stored, "mm"),
    ):  # fmt: skip
        if value > limit + 1e-6:
            return Outcome(reason=f"beyond --{name}: {value:.1f} {unit}")
    if shape.rim.shallowest <= front + 0.05:
        return Outcome(reason="its rim does not come ahead of the front")
    if isinstance(shape, RoundHood) and len(shape.wall.z) > 3 and shape.rim.deepest < shape.wall.z[2] + 1.0:
        return Outcome(reason="its step lies beyond its rim")
    direct, walls = [], []
    for setting in weighed_settings(work, most=2):
        beam = work.beam(setting)
        light = light_map(beam, shape, cells=CELLS)
        try:
            scene = scene_of(beam, shape)
        except LightError as error:
            return Outcome(reason=str(error))
        prepared = Prepared.of(beam, shape, [task.surroundings], light=light, sky=SEARCH_SKY)
        direct.append(prepared.stray_lights(None)[0].direct)
        walls.append([_wall_share(prepared, scene, finish) for finish in task.finishes])
    return Outcome(
        direct=float(np.mean(direct)), walls=tuple(float(v) for v in np.mean(walls, axis=0)) if task.finishes else (),
        depth=depth, shallowest=shape.rim.shallowest, across=across, mass=mass, stored=stored, volume=volume,
    )  # fmt: skip


def _wall_share(prepared: Prepared, scene: Scene, finish: Finish) -> float:
    """Wall light of one finish as a share of the light on the glass without a hood."""

    def wall(directions: Array) -> WallLight:
        return wall_light(scene, finish, directions=directions, samples=SAMPLES)

    return float(prepared.stray_lights(wall)[0].wall or 0.0)


def _seat(task: Task) -> float:
    build, lens = task.hood.build, task.lens
    return build.seat_diameter or lens.seat.diameter or lens.front.rim_diameter


def _outside(shape: RoundHood | TunnelHood, thickness: float, seat_length: float) -> tuple[float, float]:
    """Greatest outside dimension across the axis (mm), and volume of the cylinder or box that holds the hood (cm³)."""
    length = shape.rim.deepest + seat_length
    if isinstance(shape.wall, TunnelWall):
        sides = (2 * shape.wall.half_width + 2 * thickness, 2 * shape.wall.half_height + 2 * thickness)
        return max(sides), sides[0] * sides[1] * length / 1000
    across = 2 * float(np.max(shape.wall.radius_at(np.linspace(1e-9, shape.rim.deepest, 65)))) + 2 * thickness
    return across, math.pi / 4 * across**2 * length / 1000


def mass_of(
    shape: RoundHood | TunnelHood, *, thickness: float, seat_length: float, seat_diameter: float,
    density: float = DENSITY,
) -> float:  # fmt: skip
    """Mass in g of a printed hood, its wall from the seat plane to the rim and its seat as plates of one thickness."""
    seat = math.pi * (seat_diameter + thickness) * thickness * seat_length
    if isinstance(shape, TunnelHood):
        w, h = 2 * shape.wall.half_width + thickness, 2 * shape.wall.half_height + thickness
        rim = shape.rim
        sides = [max(lip, 0.0) for lip in (rim.right, rim.top, rim.left, rim.bottom)]
        area = h * (sides[0] + sides[2]) + w * (sides[1] + sides[3])
        collar = _collar(w + thickness, h + thickness, seat_diameter / 2 + thickness, thickness, seat_length)
        return float((area * thickness + collar + seat) * density / 1000)
    azimuth = np.arange(0.0, 360.0, 1.0)
    top = np.maximum(np.asarray(shape.rim.z_at(azimuth)), 0.0)
    share = (np.arange(400) + 0.5) / 400
    z = share[:, None] * top
    step = 1e-4
    slope = (shape.wall.radius_at(z + step) - shape.wall.radius_at(z - step)) / (2 * step)
    slant = np.sqrt(1.0 + np.where(np.abs(slope) < 50, slope, 0.0) ** 2)
    radius = shape.wall.radius_at(z) + thickness / 2
    area = float(np.sum(radius * slant * top / 400) * 2 * math.pi / len(azimuth))
    zs, rs = np.asarray(shape.wall.z), np.asarray(shape.wall.radius)
    for k in range(1, len(zs)):
        if zs[k] == zs[k - 1] and 0 <= zs[k] < shape.rim.deepest:
            area += math.pi * abs(float(rs[k] ** 2 - rs[k - 1] ** 2))
    area += math.pi * abs((float(shape.wall.radius_at(1e-9)) + thickness) ** 2 - (seat_diameter / 2) ** 2)
    return float((area * thickness + seat) * density / 1000)


def _collar(width: float, height: float, seat: float, thickness: float, seat_length: float) -> float:
    """Volume (mm³) of what joins a tunnel to a ring of radius `seat`: solid beneath at 45 degrees, so that it prints."""
    cells = 200
    x = (np.arange(cells) + 0.5) / cells * width / 2
    y = (np.arange(cells) + 0.5) / cells * height / 2
    away = np.hypot(x[:, None], y)
    depth = np.minimum(thickness + math.hypot(width / 2, height / 2) - away, seat_length)
    return float(np.sum(np.where(away > seat, depth, 0.0)) * width * height / cells**2)


__all__ = [
    "Base", "Design", "Family", "Limits", "Outcome", "Size", "Task", "base_of", "evaluate", "families", "mass_of", "weighed",
]  # fmt: skip
