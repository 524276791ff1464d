"""Named surroundings: what falls on the front glass from outside the frame, past a hood and by way of its wall.

All shares are of what the glass takes from outside the frame without a hood, so that units cancel. Directions are unit
vectors (x right, y up, z along the lens's axis) from the lens towards the source. A source of luminance L over a small
solid angle at an angle θ from the axis gives L cos θ dω for each unit of area of the open glass.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.clearance.loss import Occluder
from shadewright.light.share import CHORDS, LightMap, in_frame, light_map
from shadewright.light.wall_light import Sky, WallLight
from shadewright.model.shape import HoodShape
from shadewright.model.surroundings import PanePart, SkyKind, SkyPart, SourcePart, Surroundings
from shadewright.optics.beam import Beam

Array = NDArray[np.float64]
WallOf = Callable[[Array], WallLight]
"""Wall light for directions (n, 3)."""

SUN_SIZE = 0.533
"""Mean diameter of the sun as seen from the earth, degrees."""
FINER = 4
"""Places across each cell of a map at which luminance is read."""
SKY = Sky(42, 72)
"""Cells over the whole sphere at which wall light is summed, unless others are given; rows and columns even."""
NO_LESS = 1e-6
"""Least share of light from outside the frame that stops are given for: beyond it a hood is called perfect."""

LIMITS = (
    "The drop in veiling glare is what the front glass takes from outside the frame, with the hood against without it. Light "
    "that comes from within the frame and scatters inside the lens is untouched by any hood.",
    "Every part of the front glass and every direction outside the frame counts alike; a real lens sends some of that light "
    "to the picture and some of it nowhere, and ghosts of a single lamp are not predicted.",
    "Brightness is that of the surroundings described: another place or another hour gives other figures.",
)
"""What the figures do not say, in sentences."""


@dataclass(frozen=True)
class StrayLight:
    """Light on the front glass from outside the frame in one surrounding at one setting.

    open: without a hood, in the surroundings' unit of illuminance. direct and wall: shares of `open` that reach the glass
    past the hood, and by way of its wall (None where it was not worked out), each with an error estimate: one standard
    error of the samples together with half of what a grid half as dense changes. over_frame: `open` over what the frame itself
    sends to the glass, None where the frame is dark. notes: what small sources do not count for here, and why.
    """

    surroundings: str
    setting: str
    open: float
    direct: float
    direct_error: float
    wall: float | None
    wall_error: float | None
    over_frame: float | None
    notes: tuple[str, ...]

    @property
    def share(self) -> float:
        """Direct and wall light together, as a share of what falls on the glass without a hood."""
        return self.direct + (self.wall or 0.0)

    @property
    def error(self) -> float:
        """Error estimate of the share."""
        return math.hypot(self.direct_error, self.wall_error or 0.0)

    @property
    def stops(self) -> float:
        """Drop in veiling glare from outside the frame, stops; infinity for a share below NO_LESS."""
        return -math.log2(self.share) if self.share > NO_LESS else math.inf

    @property
    def stops_error(self) -> float:
        """Error estimate of `stops`."""
        return self.error / (self.share * math.log(2)) if self.share > NO_LESS else 0.0


@dataclass(frozen=True, eq=False)
class Spots:
    """Small sources as directions (n, 3) and illuminances on a plane facing each (n,); name of the source of each."""

    directions: Array
    illuminance: Array
    names: tuple[str, ...]


def axes_of(surroundings: Surroundings) -> tuple[Array, Array, Array]:
    """Unit vectors to the right, to the zenith and along the horizon ahead, each (3,), in the lens's coordinates."""
    tilt = math.radians(surroundings.lens_elevation)
    up = np.array([0.0, math.cos(tilt), math.sin(tilt)])
    return np.array([1.0, 0.0, 0.0]), up, np.array([0.0, -math.sin(tilt), math.cos(tilt)])


def direction_of(surroundings: Surroundings, elevation: float, azimuth: float) -> Array:
    """Unit vector (3,) to a place in the sky, degrees."""
    right, up, ahead = axes_of(surroundings)
    h, a = math.radians(elevation), math.radians(azimuth)
    return np.asarray(math.cos(h) * (math.cos(a) * ahead + math.sin(a) * right) + math.sin(h) * up)


def source_direction(surroundings: Surroundings, source: SourcePart) -> Array:
    """Unit vector (3,) to a lamp."""
    if source.off_axis is not None and source.clock is not None:
        theta, clock = math.radians(source.off_axis), math.radians(source.clock)
        return np.array(
            [math.sin(theta) * math.sin(clock), math.sin(theta) * math.cos(clock), math.cos(theta)]
        )
    assert source.elevation is not None
    assert source.azimuth is not None
    return direction_of(surroundings, source.elevation, source.azimuth)


def sky_luminance(sky: SkyPart, sine: Array, to_sun: Array, sun_sine: float) -> Array:
    """Luminance of the sky where the sine of the elevation is `sine` (0 to 1) and the angle to the sun `to_sun` (radians).

    Overcast: L = L_zenith (1 + 2 sin γ) / 3 (P. Moon and D. E. Spencer 1942, type 16 of ISO 15469). Clear: type 12 of ISO
    15469, L proportional to (0.91 + 10 exp(-3 χ) + 0.45 cos² χ) (1 - exp(-0.32 / sin γ)) (both from memory).
    """
    if sky.kind is SkyKind.EVEN:
        return np.full(sine.shape, sky.zenith)
    if sky.kind is SkyKind.OVERCAST:
        return np.asarray(sky.zenith * (1.0 + 2.0 * sine) / 3.0)

    def near(angle: Array | float) -> Array:
        return np.asarray(0.91 + 10.0 * np.exp(-3.0 * np.asarray(angle)) + 0.45 * np.cos(angle) ** 2)

    depth = 1.0 - np.exp(-0.32 / np.maximum(sine, 1e-3))
    zenith = near(math.acos(min(max(sun_sine, -1.0), 1.0))) * (1.0 - math.exp(-0.32))
    return np.asarray(sky.zenith * near(to_sun) * depth / zenith)


def horizontal_illuminance(surroundings: Surroundings) -> float:
    """Illuminance on level ground from sky and sun (panes and lamps left out)."""
    total = 0.0
    sun = surroundings.sun
    if sun is not None:
        total += sun.illuminance * math.sin(math.radians(sun.elevation))
    if surroundings.sky is not None:
        node, weight = np.polynomial.legendre.leggauss(96)
        sine = 0.5 * (node + 1.0)
        turn = (np.arange(180) + 0.5) * 2.0 * math.pi / 180
        sun_sine = math.sin(math.radians(sun.elevation)) if sun is not None else 1.0
        across = np.sqrt(1.0 - sine * sine)
        sun_across = math.sqrt(1.0 - sun_sine * sun_sine)
        cosine = across[:, None] * sun_across * np.cos(turn) + sine[:, None] * sun_sine
        to_sun = np.arccos(np.clip(cosine, -1.0, 1.0))
        light = sky_luminance(surroundings.sky, np.broadcast_to(sine[:, None], to_sun.shape), to_sun, sun_sine)
        total += float(np.sum(light * (0.5 * weight * sine)[:, None]) * 2.0 * math.pi / 180)
    return total


def luminance(surroundings: Surroundings, directions: Array) -> Array:
    """Luminance (...,) in directions (..., 3); the sun and lamps, being small, are left out."""
    right, up, ahead = axes_of(surroundings)
    sine = np.clip(directions @ up, -1.0, 1.0)
    light = np.full(sine.shape, surroundings.around)
    above = sine >= 0
    sun = surroundings.sun
    if surroundings.sky is not None:
        sun_sine, to_sun = 1.0, np.zeros(sine.shape)
        if sun is not None:
            sun_sine = math.sin(math.radians(sun.elevation))
            sunwards = direction_of(surroundings, sun.elevation, sun.azimuth)
            to_sun = np.arccos(np.clip(directions @ sunwards, -1.0, 1.0))
        light[above] = sky_luminance(surroundings.sky, sine[above], to_sun[above], sun_sine)
    if surroundings.ground is not None:
        # The ground as an even matt plane (Lambert): luminance = reflectance x illuminance / π.
        light[~above] = surroundings.ground.reflectance * horizontal_illuminance(surroundings) / math.pi
    if surroundings.pane:
        elevation = np.degrees(np.arcsin(sine))
        azimuth = np.degrees(np.arctan2(directions @ right, directions @ ahead))
        for pane in surroundings.pane:
            light[_within(pane, elevation, azimuth)] = pane.luminance
    return light


def _within(pane: PanePart, elevation: Array, azimuth: Array) -> NDArray[np.bool_]:
    across = (azimuth >= pane.left) & (azimuth <= pane.right)
    return across & (elevation >= pane.bottom) & (elevation <= pane.top)


def spots(surroundings: Surroundings) -> Spots:
    """The sun and the lamps; one with a size as seven places of equal strength over its disc."""
    directions: list[Array] = []
    illuminance: list[float] = []
    names: list[str] = []

    def add(name: str, middle: Array, size: float, amount: float) -> None:
        places = [middle] if size == 0 else [middle, *_round(middle, math.radians(size) / 2)]
        directions.extend(places)
        illuminance.extend([amount / len(places)] * len(places))
        names.extend([name] * len(places))

    sun = surroundings.sun
    if sun is not None:
        add("sun", direction_of(surroundings, sun.elevation, sun.azimuth), SUN_SIZE, sun.illuminance)
    for source in surroundings.source:
        add(source.name, source_direction(surroundings, source), source.size, source.illuminance)
    return Spots(np.array(directions).reshape(-1, 3), np.array(illuminance), tuple(names))


def _round(middle: Array, radius: float) -> list[Array]:
    """Six places about the middle of a disc of `radius` radians, where they stand for equal parts of it."""
    other = np.array([1.0, 0.0, 0.0]) if abs(middle[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    u = np.cross(middle, other)
    u /= np.linalg.norm(u)
    v = np.cross(middle, u)
    # The mean square distance from the middle of a disc is half its radius squared: six of seven places carry it.
    away = radius * math.sqrt(0.5 * 7 / 6)
    turn = np.arange(6) * math.pi / 3
    return [math.cos(away) * middle + math.sin(away) * (math.cos(t) * u + math.sin(t) * v) for t in turn]


def stray_lights(
    beam: Beam, shape: HoodShape | None, surroundings: Sequence[Surroundings], *, light: LightMap | None = None,
    wall: WallOf | None = None, sky: Sky = SKY,
) -> tuple[StrayLight, ...]:  # fmt: skip
    """What falls on the glass from outside the frame past a hood, in each of the surroundings, at one setting.

    light: the hood's map of lit share at this setting, where it is known already. wall: gives wall light for directions;
    left out, the direct part alone is given. sky: the cells at which wall light is summed.
    """
    return Prepared.of(beam, shape, surroundings, light=light, sky=sky).stray_lights(wall)


@dataclass(frozen=True, eq=False)
class Prepared:
    """A hood in its surroundings with everything worked out that does not depend on the finish of its inside.

    weights: for each of the surroundings (n,) the light from outside the frame in each cell of the sky.
    """

    beam: Beam
    surroundings: tuple[Surroundings, ...]
    small: tuple[Spots, ...]
    direct: tuple[_Direct, ...]
    weights: tuple[Array, ...]
    sky: Sky

    @classmethod
    def of(
        cls, beam: Beam, shape: HoodShape | None, surroundings: Sequence[Surroundings], *, light: LightMap | None = None,
        sky: Sky = SKY,
    ) -> Prepared:  # fmt: skip
        """Prepare a hood in its surroundings at one setting; the arguments are those of `stray_lights`."""
        light = light if light is not None else light_map(beam, shape)
        occluder = None if shape is None else Occluder(shape)
        small = tuple(spots(scene) for scene in surroundings)
        inner, outside = _inner(light), _places_of_cells(sky)
        seen = ~(in_frame(beam, outside[..., :2]) & (outside[..., 2] > 0))
        return cls(
            beam, tuple(surroundings), small,
            tuple(
                _Direct.of(beam, occluder, light, inner, scene, entry)
                for scene, entry in zip(surroundings, small, strict=True)
            ),
            tuple(np.mean(luminance(scene, outside) * seen, axis=1) * sky.solid_angle for scene in surroundings),
            sky,
        )  # fmt: skip

    def stray_lights(self, wall: WallOf | None) -> tuple[StrayLight, ...]:
        """Direct light, and wall light where `wall` gives it for directions."""
        walls = None
        if wall is not None:
            walls = wall(np.concatenate([self.sky.directions, *(entry.directions for entry in self.small)]))
        found, start = [], self.sky.rows * self.sky.columns
        for scene, entry, direct, weight in zip(
            self.surroundings, self.small, self.direct, self.weights, strict=True
        ):
            places = slice(start, start + len(entry.illuminance))
            start = places.stop
            value = error = None
            if walls is not None:
                strength = np.where(direct.in_frame, 0.0, entry.illuminance)
                value, error = _wall_part(walls, self.sky, weight, strength, places)
                if direct.open > 0:
                    value, error = value / direct.open, error / direct.open
            found.append(direct.result(scene, self.beam.label, value, error))
        return tuple(found)


@dataclass(frozen=True, eq=False)
class _Direct:
    """The direct part: what the open glass takes, what passes the hood, and what the frame sends."""

    open: float
    passed: float
    error: float
    frame: float
    in_frame: NDArray[np.bool_]
    notes: tuple[str, ...]

    @classmethod
    def of(
        cls, beam: Beam, occluder: Occluder | None, light: LightMap, inner: Array, scene: Surroundings, small: Spots
    ) -> _Direct:
        area = (2.0 / len(light.lit)) ** 2
        bright = luminance(scene, inner)
        # cos θ dω is an area of direction cosines.
        weight = bright.mean(axis=-1) * light.outside * area
        lit = np.nan_to_num(light.lit)
        open_, passed = float(np.sum(weight)), float(np.sum(weight * lit))
        halves = []
        for row in (0, 1):
            part = weight[row::2]
            halves.append(float(np.sum(part * lit[row::2]) / np.sum(part)) if np.any(part > 0) else 0.0)
        error = 0.5 * abs(halves[0] - halves[1]) * open_
        if scene.frame_luminance is not None:
            bright = np.full(bright.shape, scene.frame_luminance)
        frame = float(np.sum(bright * in_frame(beam, inner[..., :2])) * area / FINER**2)
        ahead = small.directions[:, 2] > 1e-6
        within = ahead & in_frame(beam, small.directions[:, :2])
        counted = ahead & ~within
        strength = small.illuminance * np.where(counted, small.directions[:, 2], 0.0)
        slopes = small.directions[counted, :2] / small.directions[counted, 2:]
        reached = np.ones(len(slopes))
        if occluder is not None and len(slopes):
            hidden = occluder.hidden_glass(beam.front_radius, beam.reach, slopes, chords=4 * CHORDS)
            reached = 1.0 - np.nan_to_num(hidden, nan=1.0)
        notes = [f"{name}: stands within the frame and is left out" for name, yes in zip(small.names, within, strict=True) if yes]
        notes += [
            f"{name}: stands behind the front glass, so that only its wall light counts" for name, yes in zip(small.names, ~ahead, strict=True) if yes
        ]
        return cls(
            open_ + float(np.sum(strength)), passed + float(np.sum(strength[counted] * reached)), error, frame, within,
            tuple(dict.fromkeys(notes)),
        )  # fmt: skip

    def result(self, scene: Surroundings, label: str, wall: float | None, wall_error: float | None) -> StrayLight:
        """The whole as shares of what the open glass takes."""
        lit = self.open > 0
        return StrayLight(
            surroundings=scene.name, setting=label, open=self.open, direct=self.passed / self.open if lit else 0.0,
            direct_error=self.error / self.open if lit else 0.0, wall=wall, wall_error=wall_error,
            over_frame=self.open / self.frame if self.frame > 0 else None, notes=self.notes,
        )  # fmt: skip


def _inner(light: LightMap) -> Array:
    """Places (n, n, k, 3) within each cell of a map, as unit vectors; those beyond the horizon are drawn in to it."""
    offsets = ((np.arange(FINER) + 0.5) / FINER - 0.5) * 2.0 / len(light.lit)
    inner = np.stack(np.meshgrid(offsets, offsets), axis=-1).reshape(-1, 2)
    places = light.cosines[:, :, None, :] + inner
    places = places / np.maximum(np.linalg.norm(places, axis=-1, keepdims=True), 1.0)
    up = np.sqrt(np.maximum(1.0 - np.sum(places**2, axis=-1), 0.0))
    return np.concatenate([places, up[..., None]], axis=-1)


def _places_of_cells(sky: Sky) -> Array:
    """Unit vectors (cells, k, 3) evenly over each cell of a sky."""
    uz = -1.0 + (np.arange(sky.rows * FINER) + 0.5) * 2.0 / (sky.rows * FINER)
    psi = (np.arange(sky.columns * FINER) + 0.5) * 2.0 * math.pi / (sky.columns * FINER)
    across = np.sqrt(1.0 - uz * uz)[:, None]
    x, y = across * np.cos(psi), across * np.sin(psi)
    places = np.stack([x, y, np.broadcast_to(uz[:, None], x.shape)], axis=-1)
    places = places.reshape(sky.rows, FINER, sky.columns, FINER, 3).swapaxes(1, 2)
    return np.ascontiguousarray(places.reshape(sky.rows * sky.columns, FINER * FINER, 3))


def _wall_part(
    walls: WallLight, sky: Sky, weight: Array, strength: Array, places: slice
) -> tuple[float, float]:
    """Wall light from outside the frame and its error estimate, in the surroundings' unit of illuminance."""
    count = sky.rows * sky.columns
    value = float(np.sum(weight * walls.value[:count]) + np.sum(strength * walls.value[places]))
    chance = float(np.sum((weight * walls.standard_error[:count]) ** 2))
    chance += float(np.sum((strength * walls.standard_error[places]) ** 2))
    # The same sum with wall light even over every four cells shows how coarse the cells are.
    blocks = walls.value[:count].reshape(sky.rows // 2, 2, sky.columns // 2, 2)
    even = np.broadcast_to(blocks.mean(axis=(1, 3), keepdims=True), blocks.shape).reshape(-1)
    grid = abs(float(np.sum(weight * (walls.value[:count] - even))))
    return value, math.hypot(math.sqrt(chance), 0.5 * grid)


__all__ = [
    "LIMITS", "Prepared", "Spots", "StrayLight", "horizontal_illuminance", "luminance", "spots", "stray_lights",
]  # fmt: skip
