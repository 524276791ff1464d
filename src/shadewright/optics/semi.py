"""Clear semi-diameters that a prescription leaves out, estimated from the beams they must let through.

Full beams of the axis and of fields out to the frame's corner are aimed through the real stop; a surface is as wide as
its highest ray. Where the prescription states how much of the axial beam is left at an image height, the beams narrow
towards it accordingly; without a statement nothing is cut off, which makes the beams as wide as they can be: the safe
side for a hood.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.model.prescription import Prescription
from shadewright.optics.paraxial import paraxial
from shadewright.optics.system import System, setting_names, system_of
from shadewright.optics.trace import trace

Array = NDArray[np.float64]

FIELDS = 17
AROUND = 24
ROOM = 1e-6
"""Added to every estimate so that the rays it came from pass, as a share."""


def estimated_semi(prescription: Prescription, wavelength: float, *, height: float) -> Array | None:
    """Semi-diameters (surfaces,) wide enough for every setting out to an image height in mm, or None where all are given.

    Raises OpticsError.
    """
    stated = prescription.vignetting
    share, edge = (1.0, height) if stated is None else (stated.share, stated.image_height)
    high: Array | None = None
    for name in setting_names(prescription):
        system = system_of(prescription, name, wavelength=wavelength)
        if not system.estimated:
            return None
        for fraction in np.linspace(0.0, 1.0, FIELDS):
            rays = beam_heights(system, edge * fraction, narrowing_for(1.0 - (1.0 - share) * fraction**2))
            if rays is None:
                break
            high = rays if high is None else np.maximum(high, rays)
    if high is None:
        raise OpticsError(
            "prescription: semi_diameter is left out at some surfaces and cannot be estimated, since no ray reaches the "
            "image; give the semi-diameters or check the surfaces."
        )
    return high * (1.0 + ROOM)


def axial_heights(system: System) -> Array:
    """Height (surfaces,) in mm of the axial beam at each surface: less than this no clear semi-diameter can be."""
    heights = beam_heights(system, 0.0, 0.0)
    if heights is None:
        raise OpticsError("prescription: the beam of the axis does not reach the image; check the surfaces and the stop.")
    return heights


def narrowing_for(area_share: float) -> float:
    """How much (0 to 1) of a circle's half height is cut off either side of its length to leave a share of its area.

    An ellipse as long across as the circle: its area is in proportion to its height.
    """
    return 1.0 - area_share


def beam_heights(system: System, image_height: float, narrowing: float) -> Array | None:
    """Largest height (surfaces,) at each surface of the beam of an image height in mm, or None where no ray arrives."""
    slope = slope_for(system, image_height)
    if slope is None:
        return None
    angle = np.arange(AROUND) * (2 * math.pi / AROUND)
    rim = system.stop_semi * np.stack([(1.0 - narrowing) * np.cos(angle), np.sin(angle)], axis=1)
    found = aimed(system, np.full(AROUND, slope), rim)
    if found is None:
        return None
    return np.asarray(np.hypot(found[:, :, 0], found[:, :, 1]).max(axis=1))


def slope_for(system: System, image_height: float) -> float | None:
    """Field slope (>= 0) whose chief ray reaches an image height in mm, by secants; None where none does."""
    if image_height == 0:
        return 0.0
    first = paraxial(system)
    theta = math.atan(image_height / abs(first.focal_length))
    previous: tuple[float, float] | None = None
    for _ in range(40):
        path = aimed(system, np.array([math.tan(theta)]), np.zeros((1, 2)))
        if path is None:
            theta *= 0.9
            continue
        miss = abs(float(path[-1, 0, 0])) - image_height
        if abs(miss) < 1e-7 * image_height:
            return math.tan(theta)
        step = -miss / abs(first.focal_length) if previous is None else -miss * (theta - previous[0]) / (miss - previous[1])
        previous = (theta, miss)
        theta = min(max(theta + step, 0.5 * theta), min(1.5 * theta, math.radians(88.0)))
    return None


def aimed(system: System, slopes: Array, targets: Array) -> Array | None:
    """Paths (surfaces + 1, n, 3) of rays of field slopes (n,) through points (n, 2) of the stop; None where one fails.

    Field slopes grow from the axis in steps, so that each search starts from the one before.
    """
    first = paraxial(system)
    steepest = float(np.max(slopes))
    steps = max(1, math.ceil(math.atan(steepest) / math.radians(6.0)))
    start = np.tile(np.array([0.0, 0.0]), (len(slopes), 1))
    if math.isfinite(first.entrance_radius):
        start = targets * (first.entrance_radius / system.stop_semi)
    path: Array | None = None
    before = np.zeros_like(slopes)
    for fraction in np.linspace(0.0, 1.0, steps + 1)[1:] if steepest > 0 else [1.0]:
        tau = np.tan(np.arctan(slopes) * fraction)
        start = start + np.stack([(tau - before) * first.entrance_pupil, np.zeros_like(tau)], axis=1)
        before = tau
        path, start, fine = _search(system, tau, start, targets)
        if not fine:
            return None
    return path


def _search(system: System, tau: Array, start: Array, targets: Array) -> tuple[Array, Array, bool]:
    """Newton's method in two dimensions with a Jacobian by differences."""
    small = 1e-5 * max(1.0, system.stop_semi)
    path, fine = _path(system, tau, start)
    for _ in range(15):
        miss = path[system.stop, :, :2] - targets
        if fine.all() and np.max(np.abs(miss)) < 1e-9:
            return path, start, True
        columns = []
        for axis in (0, 1):
            moved = start.copy()
            moved[:, axis] += small
            columns.append((_path(system, tau, moved)[0][system.stop, :, :2] - path[system.stop, :, :2]) / small)
        a, b, c, d = columns[0][:, 0], columns[1][:, 0], columns[0][:, 1], columns[1][:, 1]
        det = a * d - b * c
        det = np.where(np.abs(det) < 1e-12, 1e-12, det)
        step = np.stack([(d * miss[:, 0] - b * miss[:, 1]) / det, (a * miss[:, 1] - c * miss[:, 0]) / det], axis=1)
        limit = 0.5 * max(system.stop_semi, 1.0)
        start = start - np.clip(step, -limit, limit)
        path, fine = _path(system, tau, start)
    return path, start, bool(fine.all() and np.max(np.abs(path[system.stop, :, :2] - targets)) < 1e-6)


def _path(system: System, tau: Array, start: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Paths of rays from points (n, 2) of the first vertex's plane towards the subject at field slopes (n,)."""
    if math.isinf(system.focus_distance):
        slopes = np.stack([-tau, np.zeros_like(tau)], axis=1)
    else:
        subject = tau * (system.focus_distance + paraxial(system).entrance_pupil)
        slopes = np.stack([start[:, 0] - subject, start[:, 1]], axis=1) / system.focus_distance
    origins = np.column_stack([start, np.zeros(len(start))])
    rays = trace(system, origins, np.column_stack([slopes, np.ones(len(start))]), path=True, clips=False)
    return rays.path, rays.arrived
