"""ISO metric screw threads: the basic profile (ISO 68-1) and the limits of 6g bolts and 6H nuts (ISO 965-1).

Most filter threads, M49 to M82 x 0.75 and M25.5 to M45 x 0.5, lie outside the pairs of diameter and pitch
that ISO 965-1 tabulates. For those the pitch-diameter tolerances below follow the standard's formulae (its
clause 13) and are rounded to the R40 series of preferred numbers (ISO 3). Where a table exists, the table
wins, since the standard itself departs from its formulae by a step here and there.

Tabulated values: the limits printed for bolts and nuts in the open data file design/metric_thread.csv of the
threadlib project (a copy of the norm's numbers), turned back into tolerances. The bolt columns of that file
are rounded to 0.01 mm above 10 mm of diameter, so there the pitch-diameter tolerance of the bolt is from
memory and only agrees with the file to its rounding. Diameters 11.2 to 22.4 mm at pitch 0.5 and 90 to 180 mm
at pitch 1.5 are left to the formulae, because the sources at hand disagree there.
"""

from __future__ import annotations

import bisect
import math
from dataclasses import dataclass

RIDGE = math.sqrt(3.0) / 2.0
"""Height H of the sharp 60 degree triangle of an ISO 68-1 profile, in pitches."""

DIAMETER_STEPS = (0.99, 1.4, 2.8, 5.6, 11.2, 22.4, 45.0, 90.0, 180.0, 355.0)
"""Limits of the diameter ranges of ISO 965-1, mm: above one, up to and including the next."""

R40 = (
    1.00, 1.06, 1.12, 1.18, 1.25, 1.32, 1.40, 1.50, 1.60, 1.70, 1.80, 1.90, 2.00, 2.12, 2.24, 2.36, 2.50,
    2.65, 2.80, 3.00, 3.15, 3.35, 3.55, 3.75, 4.00, 4.25, 4.50, 4.75, 5.00, 5.30, 5.60, 6.00, 6.30, 6.70,
    7.10, 7.50, 8.00, 8.50, 9.00, 9.50,
)  # fmt: skip
"""The R40 series of preferred numbers, one decade (ISO 3)."""

_BY_PITCH: dict[float, tuple[int, int, int]] = {
    0.35: (-19, 85, 100), 0.4: (-19, 95, 112), 0.45: (-20, 100, 125), 0.5: (-20, 106, 140),
    0.6: (-21, 125, 160), 0.7: (-22, 140, 180), 0.75: (-22, 140, 190), 0.8: (-24, 150, 200),
    1.0: (-26, 180, 236), 1.25: (-28, 212, 265), 1.5: (-32, 236, 300), 1.75: (-34, 265, 335),
    2.0: (-38, 280, 375),
}  # fmt: skip
"""Pitch in mm: es(g), Td(6), TD1(6) in micrometres."""

_BY_DIAMETER: dict[tuple[float, float], tuple[int, int]] = {
    (5.6, 0.5): (85, 112), (5.6, 0.75): (100, 132), (5.6, 1.0): (112, 150), (5.6, 1.25): (118, 160),
    (5.6, 1.5): (132, 180),
    (11.2, 0.75): (106, 140), (11.2, 1.0): (118, 160), (11.2, 1.25): (132, 180), (11.2, 1.5): (140, 190),
    (11.2, 1.75): (150, 200), (11.2, 2.0): (160, 212),
    (22.4, 0.75): (112, 150), (22.4, 1.0): (125, 170), (22.4, 1.5): (150, 200), (22.4, 2.0): (170, 224),
    (45.0, 1.0): (140, 190), (45.0, 1.5): (160, 212), (45.0, 2.0): (180, 236),
    (90.0, 2.0): (190, 250),
}  # fmt: skip
"""Lower limit of the diameter range and pitch, mm: Td2(6), TD2(6) in micrometres."""


@dataclass(frozen=True)
class BasicDiameters:
    """The diameters that bolt and nut share before tolerances, mm."""

    major: float
    pitch: float
    minor: float


@dataclass(frozen=True)
class ExternalLimits:
    """Limits of an external thread, mm."""

    major_max: float
    major_min: float
    pitch_max: float
    pitch_min: float


@dataclass(frozen=True)
class InternalLimits:
    """Limits of an internal thread, mm."""

    minor_min: float
    minor_max: float
    pitch_min: float
    pitch_max: float


def basic_diameters(diameter: float, pitch: float) -> BasicDiameters:
    """Major, pitch and minor diameter of the basic profile: d2 = d - 3H/4, d1 = d - 5H/4 (ISO 68-1, ISO 724)."""
    ridge = RIDGE * pitch
    return BasicDiameters(diameter, diameter - 0.75 * ridge, diameter - 1.25 * ridge)


def rounded_r40(value: float) -> float:
    """The number of the R40 series nearest to `value` (> 0)."""
    decade = 10.0 ** math.floor(math.log10(value))
    choices = [term * decade for term in (*R40, 10.0)]
    return min(choices, key=lambda term: abs(term - value))


def diameter_range(diameter: float) -> tuple[float, float]:
    """The diameter range of ISO 965-1 that holds `diameter` (mm), above the first and up to the second.

    Raises ValueError outside 0.99 to 355 mm.
    """
    place = bisect.bisect_left(DIAMETER_STEPS, diameter)
    if not 0 < place < len(DIAMETER_STEPS):
        raise ValueError(
            f"thread diameter {diameter:g} mm is outside the range {DIAMETER_STEPS[0]} to {DIAMETER_STEPS[-1]} mm"
        )
    return DIAMETER_STEPS[place - 1], DIAMETER_STEPS[place]


def is_tabulated(diameter: float, pitch: float) -> bool:
    """True where the pitch-diameter tolerances come from a table and not from the formula."""
    return (diameter_range(diameter)[0], pitch) in _BY_DIAMETER


def deviation_g(pitch: float) -> float:
    """Upper deviation es of position g in mm, negative: the table, else -(15 + 11 P) micrometres."""
    if pitch in _BY_PITCH:
        return _BY_PITCH[pitch][0] / 1000.0
    return -(15.0 + 11.0 * pitch) / 1000.0


def tolerance_major_external(pitch: float) -> float:
    """Td of grade 6 in mm: the table, else 180 P^(2/3) - 3.15 / sqrt(P) micrometres rounded to R40."""
    if pitch in _BY_PITCH:
        return _BY_PITCH[pitch][1] / 1000.0
    return rounded_r40(180.0 * pitch ** (2.0 / 3.0) - 3.15 / math.sqrt(pitch)) / 1000.0


def tolerance_minor_internal(pitch: float) -> float:
    """TD1 of grade 6 in mm: the table, else 433 P - 190 P^1.22 below a pitch of 1 mm, 230 P^0.7 from 1 mm on.

    The standard gives the first formula up to 0.8 mm and the second from 1 mm; it has no pitch in between.
    """
    if pitch in _BY_PITCH:
        return _BY_PITCH[pitch][2] / 1000.0
    raw = 433.0 * pitch - 190.0 * pitch**1.22 if pitch < 1.0 else 230.0 * pitch**0.7
    return rounded_r40(raw) / 1000.0


def _pitch_tolerance_raw(diameter: float, pitch: float) -> float:
    """90 P^0.4 d^0.1 in micrometres, d the geometric mean of the limits of the diameter range."""
    low, high = diameter_range(diameter)
    return 90.0 * pitch**0.4 * math.sqrt(low * high) ** 0.1


def tolerance_pitch_external(diameter: float, pitch: float) -> float:
    """Td2 of grade 6 in mm: the table, else the formula rounded to R40. Raises ValueError."""
    found = _BY_DIAMETER.get((diameter_range(diameter)[0], pitch))
    if found:
        return found[0] / 1000.0
    return rounded_r40(_pitch_tolerance_raw(diameter, pitch)) / 1000.0


def tolerance_pitch_internal(diameter: float, pitch: float) -> float:
    """TD2 of grade 6 in mm: the table, else 1.32 Td2 rounded to R40. Raises ValueError as `diameter_range`."""
    found = _BY_DIAMETER.get((diameter_range(diameter)[0], pitch))
    if found:
        return found[1] / 1000.0
    return rounded_r40(1.32 * _pitch_tolerance_raw(diameter, pitch)) / 1000.0


def external_limits(diameter: float, pitch: float) -> ExternalLimits:
    """Limits of a 6g external thread, mm. Raises ValueError outside 0.99 to 355 mm."""
    basic = basic_diameters(diameter, pitch)
    top = deviation_g(pitch)
    return ExternalLimits(
        major_max=basic.major + top,
        major_min=basic.major + top - tolerance_major_external(pitch),
        pitch_max=basic.pitch + top,
        pitch_min=basic.pitch + top - tolerance_pitch_external(diameter, pitch),
    )


def internal_limits(diameter: float, pitch: float) -> InternalLimits:
    """Limits of a 6H internal thread, mm. Raises ValueError outside 0.99 to 355 mm."""
    basic = basic_diameters(diameter, pitch)
    return InternalLimits(
        minor_min=basic.minor,
        minor_max=basic.minor + tolerance_minor_internal(pitch),
        pitch_min=basic.pitch,
        pitch_max=basic.pitch + tolerance_pitch_internal(diameter, pitch),
    )


@dataclass(frozen=True)
class MadeProfile:
    """The profile of a thread as it is made, mm: radii of crest, pitch line and root, and half of each flat."""

    pitch: float
    crest_radius: float
    pitch_radius: float
    root_radius: float
    half_crest: float
    half_root: float


def made_profile(diameter: float, pitch: float, *, compensation: float) -> MadeProfile:
    """An external thread in the middle of its 6g limits, less `compensation` mm on every diameter.

    Flanks at 30 degrees to the radius; the tooth is P/2 thick at the pitch line. The root is flat at H/3
    below the pitch line, where the standard's rounded root of radius H/6 has its lowest point (ISO 68-1), so
    it clears the crest of any 6H nut. Raises ValueError outside 0.99 to 355 mm.
    """
    limits = external_limits(diameter, pitch)
    crest = (limits.major_max + limits.major_min) / 4.0 - compensation / 2.0
    middle = (limits.pitch_max + limits.pitch_min) / 4.0 - compensation / 2.0
    root = middle - RIDGE * pitch / 3.0
    slope = math.tan(math.radians(30.0))
    return MadeProfile(
        pitch=pitch,
        crest_radius=crest,
        pitch_radius=middle,
        root_radius=root,
        half_crest=pitch / 4.0 - (crest - middle) * slope,
        half_root=pitch / 4.0 - (middle - root) * slope,
    )
