"""A lens's beams: for each setting, the windows that limit light and the slopes of the frame.

What follows (keep-out, loss, light) asks a beam only for what stands here, so that any other description of a lens
that can fill a `Beam` is served by the same code.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.model.camera import Camera
from shadewright.model.hood import Accessory, Use
from shadewright.model.lens import Lens, SeatPlace
from shadewright.optics.footprints import Footprints
from shadewright.optics.frame import Frame, frame_half_sizes
from shadewright.optics.settings import PUPIL_GROWTH, Estimate, ResolvedLens, Setting, resolve, sweep
from shadewright.optics.wandering import window_footprints

Array = NDArray[np.float64]

DEPTH_STEP = 1.0
"""Between neighbouring pupil depths at which a setting with an uncertain one is taken, mm."""
MOST_DEPTHS = 33


@dataclass(frozen=True, eq=False)
class Beam:
    """The light of one setting, in front-rim coordinates (z = 0 the front rim plane), moved forward by `reach`.

    windows: (k, 4) depth behind the front rim plane, radius, centre x and y (mm); row 0 the entrance pupil.
    pieces: convex polygons (n, 2) of slope whose union holds every frame point.
    object_distance: from the pupil plane to the subject plane (mm), infinity allowed. A frame point's slope is that of
    the ray through the pupil's centre.
    """

    windows: Array
    pieces: tuple[Array, ...]
    reach: float
    object_distance: float
    label: str
    frame: Frame
    setting: Setting
    footprints: Footprints | None = None
    """Of a traced lens, or of one whose pupil wanders: these and not the windows say what passes, and the windows are
    stand-ins for drawings."""

    @property
    def front_radius(self) -> float:
        """Radius of the clear front glass, mm."""
        return self.setting.front_radius

    def at_reach(self, reach: float) -> Beam:
        """The same beam with the front rim plane at another place."""
        return replace(self, reach=reach)

    def widened(self, radial: float) -> Beam:
        """The beam with every window larger by `radial` mm, and the frame likewise at a near subject."""
        if radial == 0:
            return self
        if self.footprints is not None:
            return replace(self, footprints=self.footprints.altered(growth=radial))
        windows = self.windows.copy()
        windows[:, 1] += radial
        pieces = self.pieces
        if math.isfinite(self.object_distance):
            pieces = tuple(_grown(piece, radial / self.object_distance) for piece in pieces)
        return replace(self, windows=windows, pieces=pieces)

    def scaled(self, factor: float) -> Beam:
        """The beam with every window's radius multiplied by `factor`."""
        windows = self.windows.copy()
        windows[:, 1] *= factor
        footprints = None if self.footprints is None else self.footprints.altered(scale=factor)
        return replace(self, windows=windows, footprints=footprints)

    def limits(self, slopes: Array) -> tuple[Array, Array]:
        """What limits the light of frame slopes (n, 2): windows (k, 4), which hold for all, and the support (n, m) of the
        footprint of each slope, seen with the slope pointing right. One of the two is empty.
        """
        slopes = np.asarray(slopes, dtype=float)
        if self.footprints is None:
            return np.ascontiguousarray(self.windows), np.empty((len(slopes), 0))
        return np.empty((0, 4)), self.footprints.planes(np.hypot(slopes[:, 0], slopes[:, 1]))

    @property
    def centre(self) -> tuple[float, float, float]:
        """Depth and place x, y of the pupil's centre, through which a frame point's slope is measured, mm."""
        depth, _radius, x, y = self.windows[0]
        return float(depth), float(x), float(y)


def _grown(polygon: Array, by: float) -> Array:
    """A convex polygon enlarged about its middle so that it contains all points within `by` of it."""
    middle = polygon.mean(axis=0)
    along = np.roll(polygon, -1, 0) - polygon
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.hypot(along[:, 0], along[:, 1])[:, None]
    inradius = float(np.min(np.sum(normal * (polygon - middle), axis=1)))
    return np.asarray(middle + (polygon - middle) * (1 + by / inradius))


@dataclass(frozen=True)
class Job:
    """A lens on a camera: everything the keep-out needs, resolved once.

    half_width and half_height: of the used frame in mm, sensor travel included.
    stack: total thickness in mm of accessories that carry the hood forward.
    """

    lens: Lens
    camera: Camera
    use: Use
    resolved: ResolvedLens
    half_width: float
    half_height: float
    stack: float

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """What was not measured."""
        return self.resolved.estimates

    def frame(self, setting: Setting) -> Frame:
        """The frame in front of a setting, shift and stabiliser travel included."""
        circle = self.lens.image_circle
        traced: tuple[tuple[float, float], ...] = ()
        if setting.traced is not None:
            traced = setting.traced.footprints(self._height(setting)).chief_rays
        return Frame(
            half_width=self.half_width + setting.shift[0] + setting.image_travel,
            half_height=self.half_height + setting.shift[1] + setting.image_travel,
            image_distance=setting.image_distance,
            mapping=self.lens.projection,
            orientation=self.camera.orientation,
            image_circle=None if circle is None else circle / 2,
            traced=traced,
        )

    def _height(self, setting: Setting) -> float:
        """How far from the axis the used frame reaches at a setting, mm."""
        travel = setting.image_travel
        height = math.hypot(self.half_width + setting.shift[0] + travel, self.half_height + setting.shift[1] + travel)
        if self.lens.image_circle is not None:
            # The polygon about the image circle reaches a little beyond it.
            height = min(height, 0.501 * self.lens.image_circle)
        return height

    def beam(self, setting: Setting) -> Beam:
        """The beam of a setting. Raises OpticsError for a field no hood can serve."""
        frame = self.frame(setting)
        distance = math.inf
        if math.isfinite(setting.focus_distance):
            distance = setting.focus_distance + setting.pupil_depth
            if distance <= 0:
                raise OpticsError(
                    f"state: at {setting.label} the entrance pupil would lie beyond the subject; check pupil_depth."
                )
        return Beam(
            windows=np.array(setting.windows, dtype=float),
            pieces=tuple(frame.pieces()),
            reach=setting.reach - self.stack,
            object_distance=distance,
            label=setting.label,
            frame=frame,
            setting=setting,
            footprints=self._footprints(setting, frame, distance),
        )

    def _footprints(self, setting: Setting, frame: Frame, distance: float) -> Footprints | None:
        """The table of a setting whose beams are not fixed windows: traced ones, or with a pupil that wanders."""
        if setting.traced is not None:
            return setting.traced.footprints(self._height(setting))
        if not any(setting.pupil_wander):
            return None
        outline = np.concatenate(frame.pieces())
        return window_footprints(
            np.array(setting.windows, dtype=float), setting.pupil_wander,
            steepest=float(np.max(np.hypot(outline[:, 0], outline[:, 1]))), object_distance=distance,
        )  # fmt: skip

    def variants(self, setting: Setting) -> list[Setting]:
        """The setting over the interval of its pupil depth: its ends and places between, no more than DEPTH_STEP apart
        but at least three and at most MOST_DEPTHS; or itself where the depth is known exactly.
        """
        spread = setting.pupil_depth_plus_minus
        if spread == 0:
            return [setting]
        estimated = self.resolved.pupil_estimated
        shares = np.linspace(-1.0, 1.0, int(np.clip(math.ceil(2 * spread / DEPTH_STEP) + 1, 3, MOST_DEPTHS)))
        growth = PUPIL_GROWTH if estimated else 1.0
        return [setting.with_pupil_depth(setting.pupil_depth + share * spread, growth=growth) for share in shares]

    def swept(self, steps: int) -> list[Setting]:
        """The lens's settings, with `steps` intervals between neighbouring listed ones where they form a grid."""
        lattice = self.resolved.lattice
        if lattice is None or steps <= 1 or lattice == (1, 1):
            return list(self.resolved.settings)
        zooms = np.linspace(0, lattice[0] - 1, (lattice[0] - 1) * steps + 1)
        focuses = np.linspace(0, lattice[1] - 1, (lattice[1] - 1) * max(1, steps // 2) + 1)
        return sweep(self.resolved, zooms, focuses)

    def beams(self, settings: Iterable[Setting]) -> list[Beam]:
        """The beams of the settings over the intervals of what is uncertain."""
        return [self.beam(variant) for setting in settings for variant in self.variants(setting)]


def job(lens: Lens, camera: Camera, *, use: Use | None = None, accessories: Iterable[Accessory] = ()) -> Job:
    """Join a lens, a camera and what stands between lens and hood. Raises OpticsError."""
    use = use or Use()
    half_width, half_height = frame_half_sizes(camera, use)
    stack = 0.0
    if lens.seat.on is SeatPlace.THREAD:
        stack = sum(accessory.thickness for accessory in accessories)
    resolved = resolve(lens, half_diagonal=math.hypot(half_width, half_height))
    return Job(lens, camera, use, resolved, half_width, half_height, stack)
