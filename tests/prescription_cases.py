"""The published designs of tests/prescriptions: the image each covers, and rays through them by the other tracer.

Nothing here asks the project's tracer or its tables for anything: rays are aimed through batoid, see `other_tracer`.
"""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import batoid
import numpy as np
from numpy.typing import NDArray

import other_tracer
from shadewright.model.camera import Camera
from shadewright.model.documents import read_document
from shadewright.model.lens import Front, Lens, Placement, Seat, SeatPlace
from shadewright.model.prescription import Prescription, PrescriptionSetting
from shadewright.optics.beam import Job, job
from shadewright.optics.system import System, setting_names
from shadewright.optics.traced import TracedState, read_states

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
FOLDER = Path(__file__).parent / "prescriptions"

FIELDS = {
    "aspheric-31": (23.8, 13.3), "aspheric-wide-14": (57.0, 19.9), "double-gauss-100": (14.0, 24.6),
    "double-gauss-50": (21.0, 19.0), "fisheye-10": (70.0, 12.2), "five-elements-250": (10.0, 44.8),
    "four-elements-100": (20.5, 37.9), "normal-36-26-surfaces": (10.8, 6.79), "petzval-50": (7.0, 6.17),
    "reversed-telephoto-20": (30.0, 11.3), "symmetric-50": (23.0, 21.1), "telephoto-127": (10.0, 22.4),
    "telephoto-250": (4.8, 21.0), "triplet-50": (20.0, 18.2), "wide-17-100-degrees": (50.0, 13.34), "wide-22": (38.0, 17.0),
    "zoom-72-194": (6.2, 21.0),
}  # fmt: skip
"""Half of the field each was made for, degrees (from the sources, a little less where the outermost beam is nearly gone),
and the height of its image, mm, as `Other.image_height` gives it; of the zoom, the field of its long end."""
HEIGHTS = {name: height for name, (_, height) in FIELDS.items()}
SETTINGS = [(name, k) for name in HEIGHTS for k in range(3 if name == "zoom-72-194" else 1)]
"""Every design at every setting it lists."""
NAMES = [f"{name}-{k}" if name == "zoom-72-194" else name for name, k in SETTINGS]


@cache
def read(name: str) -> Prescription:
    """A published design."""
    return read_document(FOLDER / f"{name}.toml", Prescription)


def focused(name: str, distance: float) -> Prescription:
    """A design of one setting, focused at a distance (mm) from its front vertex by moving it as a whole."""
    lens = read(name)
    old = lens.setting[0] if lens.setting else PrescriptionSetting(name="nominal")
    last = lens.surface[-1].model_copy(update={"thickness": None})
    return lens.model_copy(
        update={
            "surface": (*lens.surface[:-1], last),
            "setting": (old.model_copy(update={"focus_distance": distance}),),
        }
    )


def state_of(lens: Prescription, height: float, k: int = 0) -> TracedState:
    """The k-th setting of a prescription, missing semi-diameters filled in for an image height in mm."""
    return read_states(lens, [setting_names(lens)[k]], height=height)[0]


@cache
def state(name: str, k: int = 0) -> TracedState:
    """The k-th setting of a published design."""
    return state_of(read(name), HEIGHTS[name], k)


def lens_of(prescription: Prescription, *, reach: float = 0.0, seat: SeatPlace = SeatPlace.BARREL) -> Lens:
    """A lens document about a prescription, its front vertex `reach` mm ahead of the seat plane at every setting."""
    return Lens(
        document="lens", version=1, name=f"traced {prescription.name}", front=Front(rim_diameter=180.0),
        seat=Seat(on=seat, diameter=180.0), prescription=prescription,
        placement=tuple(Placement(setting=name, vertex_reach=reach) for name in setting_names(prescription)),
    )  # fmt: skip


def camera_for(height: float) -> Camera:
    """A camera with a frame of 3 : 2 whose corner lies at an image height in mm."""
    unit = 2 * height / math.hypot(3.0, 2.0)
    return Camera(document="camera", version=1, name="Heron body", frame=(3.0 * unit, 2.0 * unit))


@cache
def job_of(name: str) -> Job:
    """A published design on a camera whose frame it covers."""
    return job(lens_of(read(name)), camera_for(HEIGHTS[name]))


class Other:
    """One lens in the other tracer, and rays aimed at it from a field slope through a plane in front of it.

    z is counted from the first vertex and light travels along +z. A field slope tau is the tangent of the angle at which
    the subject's point is seen from the middle of the paraxial entrance pupil, at x = +tau ahead of the lens, so that light
    of a distant subject travels with slope -tau.
    """

    def __init__(self, system: System, *, clips: bool = True) -> None:
        self.system = system
        self.lens = other_tracer.optic(system, clips=clips)
        self.open = other_tracer.optic(system, clips=False)
        self.pupil = matrix_pupil(system)

    def directions(self, q: Array, plane: float, tau: Array) -> Array:
        """Directions of light (n, 3) through points q (n, 2) of the plane z = plane from field slopes tau (n, 2)."""
        if math.isinf(self.system.focus_distance):
            return np.column_stack([-tau, np.ones(len(tau))])
        far = self.system.focus_distance
        subject = np.column_stack([tau * (far + self.pupil), np.full(len(tau), -far)])
        return np.asarray(np.column_stack([q, np.full(len(q), plane)]) - subject)

    def rays(self, q: Array, plane: float, tau: Array) -> batoid.RayVector:
        """Those rays, started 200 mm before the plane or at the subject, whichever is nearer."""
        along = self.directions(q, plane, tau)
        far = self.system.focus_distance
        back = 200.0 if math.isinf(far) else min(200.0, 0.9 * (plane + far))
        origins = np.column_stack([q, np.full(len(q), plane)]) - along * (back / along[:, 2:])
        return other_tracer.rays(origins, along)

    def passes(self, q: Array, plane: float, tau: Array) -> Bools:
        """Which of the rays reach the image."""
        found = self.lens.trace(self.rays(q, plane, tau))
        return ~np.asarray(found.vignetted) & ~np.asarray(found.failed)

    def height_at(self, q: Array, plane: float, tau: Array, surface: int) -> tuple[Array, Bools]:
        """x, y (n, 2) of the rays on a surface, or in the image plane for -1, nothing clipped; and whether they get there."""
        found = self.open.traceFull(self.rays(q, plane, tau))
        name = "image" if surface < 0 else f"surface {surface + 1}"
        out = found[name]["out"]
        return np.asarray(out.r)[:, :2].copy(), ~np.asarray(out.failed)

    def chief(self, tau: float, *, guess: float | None = None) -> float:
        """x in the plane of the first vertex of the ray of a field slope through the stop's middle, by halving."""
        middle = self.pupil * tau if guess is None else guess
        width = max(0.4 * abs(self.pupil * tau), 2.0)
        x = np.linspace(middle - width, middle + width, 401)
        for _ in range(12):
            flat = np.column_stack([x, np.zeros_like(x)])
            at, fine = self.height_at(flat, 0.0, np.tile([tau, 0.0], (len(x), 1)), self.system.stop)
            k = np.nonzero(fine[1:] & fine[:-1] & (at[1:, 0] * at[:-1, 0] <= 0))[0]
            if len(k) == 0:
                raise ValueError(f"no ray of slope {tau} through the middle of the stop was found")
            j = k[np.argmin(np.abs(x[k] - middle))]
            x = np.linspace(x[j], x[j + 1], 21)
            if x[-1] - x[0] < 1e-13 * max(1.0, abs(x[0])):
                break
        return float(0.5 * (x[0] + x[-1]))

    def image_height(self, tau: float) -> float:
        """Distance from the axis, mm, at which the chief ray of a field slope arrives."""
        at, fine = self.height_at(np.array([[self.chief(tau), 0.0]]), 0.0, np.array([[tau, 0.0]]), -1)
        assert fine.all()
        return float(abs(at[0, 0]))


def matrix_pupil(system: System) -> float:
    """z of the paraxial entrance pupil from two rays: n' u' = n u - y c (n' - n), y' = y + t u'."""
    far, near = [1.0, 0.0], [0.0, 1.0]
    for k in range(system.stop):
        n, after = system.index[k], system.index[k + 1]
        for ray in (far, near):
            ray[1] = (n * ray[1] - ray[0] * system.curvature[k] * (after - n)) / after
            ray[0] += system.thickness[k] * ray[1]
    return float(near[0] / far[0])


class Field:
    """Where in front of the lens a frame point lies: field slopes by image height, from chief rays of the other tracer."""

    def __init__(self, other: Other, steepest: float, *, count: int = 28) -> None:
        from scipy.interpolate import CubicSpline

        slopes = np.tan(np.linspace(0.0, math.atan(steepest), count))
        heights = np.array([0.0] + [other.image_height(float(tau)) for tau in slopes[1:]])
        assert np.all(np.diff(heights) > 0)
        self.highest = float(heights[-1])
        # Odd about the axis, so that the curve is smooth there too.
        self.law = CubicSpline(np.concatenate([-heights[:0:-1], heights]), np.concatenate([-slopes[:0:-1], slopes]))

    def slopes(self, points: Array) -> Array:
        """Slope vectors (n, 2) of frame points (n, 2) in mm, as the viewer sees the subject."""
        height = np.hypot(points[:, 0], points[:, 1])
        assert height.max() <= self.highest
        return np.asarray(points * (self.law(height) / np.maximum(height, 1e-12))[:, None])


def frame_points(half: tuple[float, float], n: int, rng: np.random.Generator) -> Array:
    """n frame points (n, 2) in mm: a third spread over the frame, a third along its edge, a third within 2 % of its corners."""
    size = np.array(half)
    inside = rng.uniform(-1.0, 1.0, (n // 3, 2))
    edge = rng.uniform(-1.0, 1.0, (n // 3, 2))
    rows, axis = np.arange(len(edge)), rng.integers(0, 2, len(edge))
    edge[rows, axis] = np.sign(edge[rows, axis])
    corner = (1.0 - 0.02 * rng.random((n - 2 * (n // 3), 2)) ** 2) * rng.choice([-1.0, 1.0], (n - 2 * (n // 3), 2))
    return np.concatenate([inside, edge, corner]) * size

