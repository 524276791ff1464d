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
def _count(slopes, windows, wander, subject, axes, foot, radius, rim, level, turn, reach, samples, seed, bare, shaded):
    np.random.seed(seed)
    for n in range(slopes.shape[0]):
        sx, sy = slopes[n, 0], slopes[n, 1]
        tau2 = sx * sx + sy * sy
        depth = windows[0, 0] + tau2 * (wander[0] + tau2 * wander[1])
        whole = 0
        left = 0
        spin = 6.283185307179586 * np.random.random()
        lift = np.random.random()
        for k in range(samples):
            r = windows[0, 1] * math.sqrt((k + np.random.random()) / samples)
            angle = spin + 2.399963229728653 * k + 0.3 * lift
            x = windows[0, 2] + r * math.cos(angle)
            y = windows[0, 3] + r * math.sin(angle)
            # From the pupil's plane towards the subject.
            if math.isinf(subject):
                dx, dy = sx, sy
            else:
                reachable = subject + windows[0, 0]
                ox = windows[0, 2] + sx * reachable
                oy = windows[0, 3] + sy * reachable
                dx = (ox - x) / (subject + depth)
                dy = (oy - y) / (subject + depth)
            qx = x + depth * dx
            qy = y + depth * dy
            inside = True
            for w in range(1, windows.shape[0]):
                wx = qx - windows[w, 0] * dx - windows[w, 2]
                wy = qy - windows[w, 0] * dy - windows[w, 3]
                if wx * wx + wy * wy > windows[w, 1] * windows[w, 1]:
                    inside = False
                    break
            if not inside:
                continue
            whole += 1
            # In the barrel's own axes, its seat at the origin.
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
                left += 1 if c <= 0 else 0
                continue
            inner = b * b - a * c
            if inner <= 0.0:
                continue
            t = (-b + math.sqrt(inner)) / a
            hx = ox + t * vx
            hy = oy + t * vy
            hz = oz + t * vz
            if level:
                left += 1 if hz >= rim[0] else 0
                continue
            azimuth = (math.degrees(math.atan2(hy, hx)) - turn) % 360.0
            i = int(azimuth)
            share = azimuth - i
            z = rim[i % 360] * (1.0 - share) + rim[(i + 1) % 360] * share
            if hz >= z:
                left += 1
        bare[n] = whole / samples
        shaded[n] = left / samples


def slopes_at(points: Array, image_distance: float, distortion: float) -> Array:
    """Slopes (n, 2) of frame points (n, 2), by Newton's method on r = f tau (1 + c tau^2)."""
    flat = points.reshape(-1, 2)
    height = np.hypot(flat[:, 0], flat[:, 1]) / image_distance
    tau = height.copy()
    for _ in range(30):
        tau -= (tau * (1 + distortion * tau**2) - height) / (1 + 3 * distortion * tau**2)
    return flat * (tau / np.maximum(height, 1e-12) / image_distance)[:, None]


def light(glass: Glass, sensor: Sensor, barrel: Barrel | None, *, samples: int = 1024, seed: int = 1) -> tuple[Array, Array]:
    """Noiseless light (rows, columns) bare and with the barrel, the wall's unevenness and cos^4 in both, 1 on the axis."""
    points = sensor.points()
    slopes = slopes_at(points, glass.image_distance, glass.distortion)
    barrel = barrel or Barrel.tube(2e4, 0.0)
    bare, shaded = np.empty(len(slopes)), np.empty(len(slopes))
    _count(
        slopes, np.array(glass.windows), np.array(glass.wander), glass.subject, barrel.axes(), np.array([*barrel.decentre, 0.0]),
        barrel.radius, np.ascontiguousarray(barrel.rim), barrel.is_level, barrel.turn, glass.reach, samples, seed, bare, shaded,
    )  # fmt: skip
    falloff = (sensor.wall().ravel() * (1 + np.sum(slopes**2, axis=1)) ** -2).reshape(points.shape[:2])
    shape = points.shape[:2]
    return bare.reshape(shape) * falloff, shaded.reshape(shape) * falloff


def enlarged(clean: Array, times: int = 4) -> Array:
    """Every sample as `times` squared pixels, so that few rays make a picture of many pixels."""
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
    plane: float = 0.0
    """Of the ray grid, behind the front vertex, mm."""
    reach: float = 0.0


@njit(cache=True, error_model="numpy")
def _count_traced(slopes, table, masks, step, axes, foot, radius, rim, level, turn, reach, bare, shaded):
    size = masks.shape[1]
    half = 0.5 * (size - 1)
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
        for i in range(size):
            for j in range(size):
                weight = (1.0 - share) * masks[at, i, j] + share * masks[at + 1, i, j]
                if weight <= 0.0:
                    continue
                px = (j - half + np.random.random() - 0.5) * step
                py = (i - half + np.random.random() - 0.5) * step
                qx = px * ux - py * uy
                qy = px * uy + py * ux
                whole += weight
                gx, gy, gz = qx - foot[0], qy - foot[1], reach
                ox = axes[0, 0] * gx + axes[0, 1] * gy + axes[0, 2] * gz
                oy = axes[1, 0] * gx + axes[1, 1] * gy + axes[1, 2] * gz
                oz = axes[2, 0] * gx + axes[2, 1] * gy + axes[2, 2] * gz
                vx = axes[0, 0] * sx + axes[0, 1] * sy + axes[0, 2]
                vy = axes[1, 0] * sx + axes[1, 1] * sy + axes[1, 2]
                vz = axes[2, 0] * sx + axes[2, 1] * sy + axes[2, 2]
                a = vx * vx + vy * vy
                b = ox * vx + oy * vy
                c = ox * ox + oy * oy - radius * radius
                if a < 1e-18:
                    left += weight if c <= 0 else 0.0
                    continue
                inner = b * b - a * c
                if inner <= 0.0:
                    continue
                t = (-b + math.sqrt(inner)) / a
                hx = ox + t * vx
                hy = oy + t * vy
                if level:
                    left += weight if oz + t * vz >= rim[0] else 0.0
                    continue
                azimuth = (math.degrees(math.atan2(hy, hx)) - turn) % 360.0
                k = int(azimuth)
                part = azimuth - k
                z = rim[k % 360] * (1.0 - part) + rim[(k + 1) % 360] * part
                if oz + t * vz >= z:
                    left += weight
        bare[n] = whole * step * step
        shaded[n] = left * step * step


def traced_light(glass: TracedGlass, sensor: Sensor, barrel: Barrel) -> tuple[Array, Array]:
    """As `light`, for a traced lens focused far away."""
    points = sensor.points()
    flat = points.reshape(-1, 2)
    height = np.hypot(flat[:, 0], flat[:, 1])
    slopes = flat * (np.interp(height, glass.heights, glass.slopes) / np.maximum(height, 1e-12))[:, None]
    bare, shaded = np.empty(len(flat)), np.empty(len(flat))
    _count_traced(
        slopes, glass.slopes, glass.masks, glass.step, barrel.axes(), np.array([*barrel.decentre, 0.0]), barrel.radius,
        np.ascontiguousarray(barrel.rim), barrel.is_level, barrel.turn, glass.reach, bare, shaded,
    )  # fmt: skip
    scale = sensor.wall().ravel() * (1 + np.sum(slopes**2, axis=1)) ** -2 / bare.max()
    return (bare * scale).reshape(points.shape[:2]), (shaded * scale).reshape(points.shape[:2])
