"""Paraxial quantities of a system of surfaces: focal length, back focus, pupils and principal planes.

Symbols (W. J. Smith, Modern Optical Engineering, 4th edition, chapters 2 and 9): y ray height, u ray slope, n index,
c curvature, t spacing; refraction n' u' = n u - y c (n' - n), transfer y' = y + t u'.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import OpticsError
from shadewright.optics.system import System

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Paraxial:
    """First-order quantities in mm, positions from the vertex of the first surface along +z towards the image.

    focal_length: in the image space, air assumed. back_focus: from the last vertex to the focus of distant subjects.
    front_focus: z of the front focal point. principal_front, principal_rear: z of the principal planes.
    entrance_pupil: z of the entrance pupil (positive behind the front vertex); entrance_radius its radius;
    exit_pupil and exit_radius likewise. f_number: focal length over entrance diameter. pupil_magnification: exit over
    entrance. image_distance: from the last vertex to the image of the subject at the setting's focus distance.
    total: from the first vertex to the image plane. magnification: of that subject, 0 when it is distant.
    """

    focal_length: float
    back_focus: float
    front_focus: float
    principal_front: float
    principal_rear: float
    entrance_pupil: float
    entrance_radius: float
    exit_pupil: float
    exit_radius: float
    f_number: float
    pupil_magnification: float
    image_distance: float
    total: float
    magnification: float


def transfer_matrix(system: System, first: int, last: int) -> Array:
    """The (2, 2) matrix taking (height, index times slope) from before surface `first` to after surface `last`."""
    matrix = np.eye(2)
    for k in range(first, last + 1):
        if k > first:
            matrix = np.array([[1.0, system.thickness[k - 1] / system.index[k]], [0.0, 1.0]]) @ matrix
        power = system.curvature[k] * (system.index[k + 1] - system.index[k])
        matrix = np.array([[1.0, 0.0], [-power, 1.0]]) @ matrix
    return matrix


def _before_stop(system: System) -> Array:
    """From the plane of the first vertex to the stop, before it refracts."""
    if system.stop == 0:
        return np.eye(2)
    matrix = transfer_matrix(system, 0, system.stop - 1)
    gap = system.thickness[system.stop - 1] / system.index[system.stop]
    return np.array([[1.0, gap], [0.0, 1.0]]) @ matrix


def stop_for(system: System, f_number: float) -> float:
    """Semi-diameter of the stop for an f-number, mm, paraxially."""
    # A ray from a distant point on the axis at the height of the pupil's edge meets the edge of the stop.
    return abs(focal_length(system) / (2.0 * f_number) * float(_before_stop(system)[0, 0]))


def focal_length(system: System) -> float:
    """Focal length in mm. Raises OpticsError for a lens without power."""
    power = -float(transfer_matrix(system, 0, len(system) - 1)[1, 0])
    if abs(power) < 1e-9:
        raise OpticsError("prescription: the lens has no power, it forms no image; check radius and index.")
    return 1.0 / power


def paraxial(system: System) -> Paraxial:
    """All paraxial quantities of a system. Raises OpticsError where it forms no real image or has no entrance pupil."""
    whole = transfer_matrix(system, 0, len(system) - 1)
    focal = focal_length(system)
    a, b, c, d = (float(value) for value in whole.ravel())
    last = float(system.vertices[-2])
    back = focal * a
    if focal < 0 and back <= 0:
        raise OpticsError(
            f"prescription: it forms no real image: its focal length comes out at {focal:.2f} mm and the image {-back:.2f} mm ahead "
            "of the last surface; check the signs of the radii (positive where the centre lies on the image side), the "
            "indices and the gaps."
        )
    front = -focal * d
    before = _before_stop(system)
    if abs(before[0, 0]) < 1e-9:
        raise OpticsError("prescription: the entrance pupil lies at infinity (an object-telecentric lens): no hood applies.")
    # A ray through the pupil's centre meets the stop on the axis: height h0 at the front vertex with slope u0 gives
    # A h0 + B u0 = 0, so that it crosses the axis at z = -h0 / u0 = B / A.
    entrance = float(before[0, 1] / before[0, 0])
    entrance_radius = system.stop_semi / abs(float(before[0, 0]))
    after = transfer_matrix(system, system.stop, len(system) - 1)
    exit_at = last - float(after[0, 1] / after[1, 1]) if abs(after[1, 1]) > 1e-12 else math.inf
    exit_radius = system.stop_semi / abs(float(after[1, 1])) if abs(after[1, 1]) > 1e-12 else math.inf
    if math.isinf(system.focus_distance):
        image, magnification = back, 0.0
    else:
        # Height after the last surface of a ray from the subject's axial point, unit slope: where it meets the axis.
        height, slope = a * system.focus_distance + b, c * system.focus_distance + d
        image = -height / slope if slope != 0 else math.inf
        magnification = 1.0 / slope if slope != 0 else math.inf
    return Paraxial(
        focal_length=focal,
        back_focus=back,
        front_focus=front,
        principal_front=front + focal,
        principal_rear=last + back - focal,
        entrance_pupil=entrance,
        entrance_radius=entrance_radius,
        exit_pupil=exit_at,
        exit_radius=exit_radius,
        f_number=abs(focal) / (2.0 * entrance_radius) if math.isfinite(entrance_radius) else 0.0,
        pupil_magnification=exit_radius / entrance_radius if math.isfinite(entrance_radius) else math.nan,
        image_distance=image,
        total=float(system.vertices[-1]),
        magnification=magnification,
    )
