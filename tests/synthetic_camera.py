"""A camera of our own for tests: it photographs an even wall by random rays, one by one, and shares no code with the package.

Rays start on the entrance pupil's disc at random, must pass every window, and then leave the tube or hood past its rim: a ray
is followed to where it meets the tube's infinite wall, in the tube's own axes, and is lost where that lies behind the rim.
Traced lenses are photographed the same way with their beams found by an independent ray tracer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Barrel:
    """A round tube or hood: inside radius, rim z (360,) at whole degrees in mm ahead of the seat, decentre (mm) and lean (degrees)."""

    radius: float
    rim: Array
    decentre: tuple[float, float] = (0.0, 0.0)
    lean: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    """Degrees by which the rim is rotated, from right to top."""

    @classmethod
    def tube(cls, diameter: float, length: float, **more: object) -> Barrel:
        return cls(diameter / 2, np.full(360, float(length)), **more)  # type: ignore[arg-type]

    @property
    def is_level(self) -> bool:
        return float(np.ptp(self.rim)) == 0.0

    def axes(self) -> Array:
        """(3, 3): rows are the barrel's own right, up and forward directions."""
        forward = np.array([math.tan(math.radians(self.lean[0])), math.tan(math.radians(self.lean[1])), 1.0])
        forward /= np.linalg.norm(forward)
        right = np.array([1.0, 0.0, 0.0]) - forward[0] * forward
        right /= np.linalg.norm(right)
        return np.stack([right, np.cross(forward, right), forward])


@dataclass(frozen=True)
class Glass:
    """A lens as windows: (depth, radius, x, y) behind the front rim plane, the pupil first; reach of that plane ahead of the seat."""

    windows: tuple[tuple[float, float, float, float], ...]
    image_distance: float
    reach: float = 0.0
    wander: tuple[float, float] = (0.0, 0.0)
    subject: float = math.inf
    """From the front rim plane to what is in focus, mm."""
    distortion: float = 0.0
    """c of r = f tau (1 + c tau^2)."""


@dataclass(frozen=True)
class Sensor:
    """Pixels, frame in mm and noise: electrons at white, read noise in electrons, dust specks, and the wall's light."""

    columns: int = 384
    rows: int = 256
    width: float = 36.0
    height: float = 24.0
    full_well: float = 50_000.0
    read_noise: float = 3.0
    level: float = 0.55
    dust: int = 12
    uneven: tuple[float, float] = (0.15, -0.10)
    """Change of the wall's light from the middle to the right and the top edge."""
    offset: tuple[float, float] = (0.0, 0.0)
    """Where the lens's axis meets the frame, mm from its middle."""

    def points(self) -> Array:
        """(rows, columns, 2) mm from the axis, row 0 at the top of the upright picture."""
        x = ((np.arange(self.columns) + 0.5) / self.columns - 0.5) * self.width - self.offset[0]
        y = (0.5 - (np.arange(self.rows) + 0.5) / self.rows) * self.height - self.offset[1]
        return np.stack(np.meshgrid(x, y), axis=-1)

    def wall(self) -> Array:
        x = np.linspace(-1, 1, self.columns)[None, :]
        y = np.linspace(1, -1, self.rows)[:, None]
        return 1.0 + self.uneven[0] * x + self.uneven[1] * y + 0.05 * x * y - 0.06 * (x * x + y * y)


@njit(cache=True, error_model="numpy")
def _passes_windows(qx, qy, dx, dy, windows):
    """Whether a ray through (qx, qy) of the front rim plane passes every window but the pupil."""
    for w in range(1, windows.shape[0]):
        wx = qx - windows[w, 0] * dx - windows[w, 2]
        wy = qy - windows[w, 0] * dy - windows[w, 3]
        if wx * wx + wy * wy > windows[w, 1] * windows[w, 1]:
            return False
    return True


@njit(cache=True, error_model="numpy")
def _passes_barrel(qx, qy, dx, dy, axes, foot, radius, rim, level, turn, reach):
    """Whether a ray leaves the barrel past its rim: followed to the infinite wall, in the barrel's own axes, its seat at 0."""
    gx, gy, gz = qx - foot[0], qy - foot[1], reach
    ox = axes[0, 0] * gx + axes[0, 1] * gy + axes[0, 2] * gz
    oy = axes[1, 0] * gx + axes[1, 1] * gy + axes[1, 2] * gz
    oz = axes[2, 0] * gx + axes[2, 1] * gy + axes[2, 2] * gz
    vx = axes[0, 0] * dx + axes[0, 1] * dy + axes[0, 2]
    vy = axes[1, 0] * dx + axes[1, 1] * dy + axes[1, 2]
    vz = axes[2, 0] * dx + axes[2, 1] * dy + axes[2, 2]
    a = vx * vx + vy * vy
    b = ox * vx + oy * vy
    c = ox * ox + oy * oy - radius * radius
    if a < 1e-18:
        return c <= 0
    inner = b * b - a * c
    if inner <= 0.0:
        return False
    t = (-b + math.sqrt(inner)) / a
    hz = oz + t * vz
    if level:
        return hz >= rim[0]
    azimuth = (math.degrees(math.atan2(oy + t * vy, ox + t * vx)) - turn) % 360.0
    i = int(azimuth)
    share = azimuth - i
    return hz >= rim[i % 360] * (1.0 - share) + rim[(i + 1) % 360] * share


@njit(cache=True, error_model="numpy")
def _count(
    slopes, rights, ups, windows, wander, subject, axes, foot, radius, rim, level, turn, reach, spots, samples, seed, bare, shaded
):
    """Fill bare and shaded (n,): shares of the pupil's disc, over each sample's area of the frame, that pass.

    rights, ups (n, 2): change of slope over a sample's width and height. spots (m, 4): evenly strewn points of the unit disc
    and of the area, gone through from a start of chance, the disc turned by chance; a sample wholly light or dark by rays round
    its outside is not counted.
    """
    np.random.seed(seed)
    rim_rays = 32
    for n in range(slopes.shape[0]):
        at = int(np.random.random() * spots.shape[0])
        spin = 6.283185307179586 * np.random.random()
        cosine = math.cos(spin) * windows[0, 1]
        sine = math.sin(spin) * windows[0, 1]
        inside = 0
        free = 0
        whole = 0
        left = 0
        for k in range(-rim_rays, samples):
            if k < 0:
                angle = 6.283185307179586 * (k + 0.5) / rim_rays
                x = 1.01 * windows[0, 1] * math.cos(angle)
                y = 1.01 * windows[0, 1] * math.sin(angle)
                along = 0.6 if k % 2 == 0 else -0.6
                up = 0.6 if (k // 2) % 2 == 0 else -0.6
            else:
                at = at + 1 if at + 1 < spots.shape[0] else 0
                x = spots[at, 0] * cosine - spots[at, 1] * sine
                y = spots[at, 0] * sine + spots[at, 1] * cosine
                along = spots[at, 2]
                up = spots[at, 3]
            sx = slopes[n, 0] + along * rights[n, 0] + up * ups[n, 0]
            sy = slopes[n, 1] + along * rights[n, 1] + up * ups[n, 1]
            tau2 = sx * sx + sy * sy
            depth = windows[0, 0] + tau2 * (wander[0] + tau2 * wander[1])
            x += windows[0, 2]
            y += windows[0, 3]
            # From the pupil's plane towards the subject.
            if math.isinf(subject):
                dx, dy = sx, sy
            else:
                reachable = subject + windows[0, 0]
                dx = (windows[0, 2] + sx * reachable - x) / (subject + depth)
                dy = (windows[0, 3] + sy * reachable - y) / (subject + depth)
            qx = x + depth * dx
            qy = y + depth * dy
            seen = _passes_windows(qx, qy, dx, dy, windows)
            clear = seen and _passes_barrel(qx, qy, dx, dy, axes, foot, radius, rim, level, turn, reach)
            if k < 0:
                inside += seen
                free += _passes_barrel(qx, qy, dx, dy, axes, foot, radius, rim, level, turn, reach)
                if k == -1 and inside == rim_rays and level and free in (0, rim_rays):
                    whole = samples
                    left = samples if free else 0
                    break
            else:
                whole += seen
                left += clear
        bare[n] = whole / samples
        shaded[n] = left / samples


def _spots(count: int = 8192) -> Array:
    """Points (count, 4) of the unit disc and of the unit square, evenly strewn (M. Roberts' sequence in four dimensions)."""
    step = np.array([0.8566748838545029, 0.7338918566271260, 0.6287067210378087, 0.5385972572236101])
    u = (np.arange(1, count + 1)[:, None] * step) % 1.0
    r, angle = np.sqrt(u[:, 0]), 2 * math.pi * u[:, 1]
    return np.stack([r * np.cos(angle), r * np.sin(angle), u[:, 2] - 0.5, u[:, 3] - 0.5], axis=1)


def slopes_at(points: Array, image_distance: float, distortion: float) -> Array:
    """Slopes (n, 2) of frame points (n, 2), by Newton's method on r = f tau (1 + c tau^2)."""
    flat = points.reshape(-1, 2)
    height = np.hypot(flat[:, 0], flat[:, 1]) / image_distance
    tau = height.copy()
    for _ in range(30):
        tau -= (tau * (1 + distortion * tau**2) - height) / (1 + 3 * distortion * tau**2)
    return flat * (tau / np.maximum(height, 1e-12) / image_distance)[:, None]


def light(
    glass: Glass, sensor: Sensor, barrel: Barrel | None, *, samples: int = 1024, seed: int = 1, area: bool = True
) -> tuple[Array, Array]:
    """Noiseless light (rows, columns) bare and with the barrel, the wall's unevenness and cos^4 in both, 1 on the axis.

    area: over each sample's area, as a sensor gathers it; else at its middle.
    """
    points = sensor.points()
    shape = points.shape[:2]
    size = (sensor.width / sensor.columns, sensor.height / sensor.rows)
    slopes = slopes_at(points, glass.image_distance, glass.distortion)
    across, up = np.array([1e-3, 0.0]), np.array([0.0, 1e-3])
    rights = (slopes_at(points + across, glass.image_distance, glass.distortion) - slopes) * (1e3 * size[0] * area)
    ups = (slopes_at(points + up, glass.image_distance, glass.distortion) - slopes) * (1e3 * size[1] * area)
    barrel = barrel or Barrel.tube(2e4, 0.0)
    bare, shaded = np.empty(len(slopes)), np.empty(len(slopes))
    _count(
        slopes, rights, ups, np.array(glass.windows), np.array(glass.wander), glass.subject, barrel.axes(),
        np.array([*barrel.decentre, 0.0]), barrel.radius, np.ascontiguousarray(barrel.rim), barrel.is_level, barrel.turn,
        glass.reach, _spots(), samples, seed, bare, shaded,
    )  # fmt: skip
    falloff = (sensor.wall().ravel() * (1 + np.sum(slopes**2, axis=1)) ** -2).reshape(shape)
    return bare.reshape(shape) * falloff, shaded.reshape(shape) * falloff


def enlarged(clean: Array, times: int = 4) -> Array:
    """Every sample as `times` squared pixels, so that few rays make a picture of many pixels: coarse, not for proving errors."""
    return np.kron(clean, np.ones((times, times)))


def exposed(clean: Array, sensor: Sensor, rng: np.random.Generator, *, gain: float = 1.0, frames: int = 1) -> Array:
    """What the sensor records of light (rows, columns), of white: shot and read noise, the mean of some frames."""
    electrons = clean * sensor.level * gain * sensor.full_well
    total = rng.poisson(electrons * frames) + rng.normal(0.0, sensor.read_noise * math.sqrt(frames), clean.shape)
    return np.clip(total / frames / sensor.full_well, 0.0, 1.0)


def dusted(clean: Array, sensor: Sensor, rng: np.random.Generator) -> Array:
    """Specks on the glass in front, each dimming a few pixels: they move from one frame to the next."""
    out = clean.copy()
    rows, columns = clean.shape
    y, x = np.mgrid[0:rows, 0:columns]
    for _ in range(sensor.dust):
        at = rng.uniform(0, 1, 2) * (rows, columns)
        size = rng.uniform(0.004, 0.012) * columns
        out *= 1.0 - rng.uniform(0.05, 0.4) * np.exp(-((x - at[1]) ** 2 + (y - at[0]) ** 2) / (2 * size**2))
    return out


def write_tiff(path: Path, light_of_white: Array) -> Path:
    """A linear 16-bit grey TIFF."""
    import tifffile

    tifffile.imwrite(path, np.round(light_of_white * 65535).astype(np.uint16))
    return path


def write_jpeg(path: Path, light_of_white: Array, *, quality: int = 92) -> Path:
    """A grey picture bent by the sRGB curve, as JPEG."""
    from PIL import Image

    v = np.clip(light_of_white, 0, 1)
    bent = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    Image.fromarray(np.repeat(np.round(bent * 255).astype(np.uint8)[:, :, None], 3, axis=2)).save(path, quality=quality)
    return path


@dataclass(frozen=True)
class TracedGlass:
    """A traced lens's beams: for slopes (k,) the rays (points in the front plane, mm) that pass, found by another tracer."""

    heights: Array
    slopes: Array
    step: float
    """Spacing of the grid of rays in the front plane, mm."""
    masks: NDArray[np.bool_] = field(repr=False)
    """(k, n, n): which rays pass, x along the slope."""
    depth: float = 0.0
    """The grid moves along the slope by this many mm for a slope of 1, with the pupil, so that beams in between are not blurred."""
    reach: float = 0.0


@njit(cache=True, error_model="numpy")
def _count_traced(slopes, table, rays, weights, sums, outlines, step, depth, axes, foot, radius, rim, level, turn, reach, seed, bare, shaded):
    np.random.seed(seed)
    for n in range(slopes.shape[0]):
        sx, sy = slopes[n, 0], slopes[n, 1]
        tau = math.hypot(sx, sy)
        ux = sx / tau if tau > 1e-12 else 1.0
        uy = sy / tau if tau > 1e-12 else 0.0
        at = 0
        while at < table.shape[0] - 2 and table[at + 1] < tau:
            at += 1
        share = (tau - table[at]) / (table[at + 1] - table[at])
        whole = 0.0
        left = 0.0
        if level:
            # A beam wholly light or dark by rays round its outside is not counted.
            free = 0
            for k in range(outlines.shape[1]):
                for entry in (at, at + 1):
                    px, py = outlines[entry, k, 0] + depth * tau, outlines[entry, k, 1]
                    free += _passes_barrel(px * ux - py * uy, px * uy + py * ux, sx, sy, axes, foot, radius, rim, level, turn, reach)
            if free == 0 or free == 2 * outlines.shape[1]:
                bare[n] = ((1.0 - share) * sums[at] + share * sums[at + 1]) * step * step
                shaded[n] = bare[n] if free else 0.0
                continue
        for k in range(rays.shape[0]):
            weight = (1.0 - share) * weights[at, k] + share * weights[at + 1, k]
            if weight <= 0.0:
                continue
            px = rays[k, 0] + (np.random.random() - 0.5) * step + depth * tau
            py = rays[k, 1] + (np.random.random() - 0.5) * step
            whole += weight
            if _passes_barrel(px * ux - py * uy, px * uy + py * ux, sx, sy, axes, foot, radius, rim, level, turn, reach):
                left += weight
        bare[n] = whole * step * step
        shaded[n] = left * step * step


def _outlines(rays: Array, weights: Array, step: float, count: int = 32) -> Array:
    """(k, count, 2): points a little outside each beam, furthest out in as many directions."""
    angle = 2 * math.pi * np.arange(count) / count
    way = np.stack([np.cos(angle), np.sin(angle)])
    found = []
    for weight in weights:
        inside = rays[weight > 0]
        found.append(inside[np.argmax(inside @ way, axis=0)] + 1.5 * step * way.T)
    return np.array(found)


def traced_light(glass: TracedGlass, sensor: Sensor, barrel: Barrel, *, seed: int = 1) -> tuple[Array, Array]:
    """As `light`, for a traced lens focused far away."""
    points = sensor.points()
    flat = points.reshape(-1, 2)
    height = np.hypot(flat[:, 0], flat[:, 1])
    slopes = flat * (np.interp(height, glass.heights, glass.slopes) / np.maximum(height, 1e-12))[:, None]
    bare, shaded = np.empty(len(flat)), np.empty(len(flat))
    size = glass.masks.shape[1]
    place = (np.arange(size) - 0.5 * (size - 1)) * glass.step
    used = glass.masks.any(axis=0)
    rays, weights = np.stack([a[used] for a in np.meshgrid(place, place)], axis=1), glass.masks[:, used].astype(float)
    _count_traced(
        slopes, glass.slopes, rays, weights, weights.sum(axis=1), _outlines(rays, weights, glass.step), glass.step,
        glass.depth, barrel.axes(), np.array([*barrel.decentre, 0.0]), barrel.radius, np.ascontiguousarray(barrel.rim), barrel.is_level, barrel.turn, glass.reach, seed, bare, shaded,
    )  # fmt: skip
    scale = sensor.wall().ravel() * (1 + np.sum(slopes**2, axis=1)) ** -2 / bare.max()
    return (bare * scale).reshape(points.shape[:2]), (shaded * scale).reshape(points.shape[:2])
