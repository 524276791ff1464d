"""What is to be said of a pupil found from tubes: what the frames cannot settle, and what looks wrong."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from shadewright.errors import MeasureError

if TYPE_CHECKING:
    from shadewright.measure.pupil import PupilFit

SEAT_PLAY = 1.0
"""A tube sits this far off the lens's axis as a rule, mm (common practice, no source)."""
LEAN = math.tan(math.radians(1.5))
"""And leans by this slope (common practice, no source)."""
TOO_FAR = 6.0
"""A size that comes out this many standard errors from what was given contradicts it."""


def disc_remark(fit: PupilFit) -> str:
    """What the fitted disc stands for, and the paraxial pupil as far as it tells."""
    depth, depth_error, radius, radius_error = fit.paraxial
    return (
        "Depth and radius are of the disc that stands for the beams' outlines at the frame's edge, where rims are decided. The paraxial pupil "
        f"of a real lens lies {depth:.1f} mm deep to {depth_error:.1f} mm, its radius {radius:.2f} mm to {radius_error:.2f} mm (one standard error, by "
        "what published designs do); a shot stopped down would tell more of it."
    )


def refuse_contradiction(fit: PupilFit) -> None:
    """Refuse frames that fit only with sizes far from those given. Raises MeasureError."""
    tubes = {i: block.tube for i, block in enumerate(fit.blocks) if block.tube is not None}
    names = {"image_distance": "the distance from the pupil to the image, by the focal length marked,"}
    for i, tube in tubes.items():
        names |= {f"tube_radius {i}": f'half the inside of tube "{tube.name}"', f"tube_length {i}": f'the length of tube "{tube.name}"'}
    for unknown in fit.solution.unknowns:
        found = fit.solution.value(unknown.name)
        if unknown.name in names and abs(found - unknown.mean) > TOO_FAR * unknown.spread:
            raise MeasureError(
                f"{fit.setting.focal_length:g} mm: the frames fit only if {names[unknown.name]} is {found:.2f} mm, where {unknown.mean:.2f} "
                f"+- {unknown.spread:.2f} mm was said: are the frames of two tubes swapped, or a tube's size or the focal length wrong?"
            )


def remarks_on(fit: PupilFit) -> tuple[list[str], bool]:
    """Plain sentences on what the data cannot settle, and whether the depth is settled."""
    solution, notes, settled = fit.solution, [], True
    tubes = [block.tube for block in fit.blocks if block.tube is not None]
    error = fit.depth_error
    if error > max(0.5, 0.02 * fit.setting.focal_length):
        settled = False
        tied = abs(solution.correlation("pupil_depth", "image_distance"))
        if len({round(tube.length, 1) for tube in tubes}) == 1 and tied > 0.7:
            notes.append(
                f"One length of tube cannot separate depth from field scale: the depth is known to {error:.1f} mm only, as far as the "
                f"focal length is known to {fit.setting.focal_length_plus_minus:g} %. Shoot a second length; `measure tubes` says which."
            )
        else:
            notes.append(
                f"The depth is known to {error:.1f} mm only: shoot more frames, or tubes whose lengths differ more, measured better."
            )
    notes.append(disc_remark(fit))
    if solution.told("pupil_radius") < 0.75:
        notes.append(
            "The half-shadow is too narrow to tell the pupil's width, which is taken from the f-number; shoot wide open, or with a longer tube."
        )
    if solution.told("wander") < 0.75:
        notes.append(
            "These tubes hardly tell how the pupil moves with field angle, which is allowed for; a third length, or a ruler read for the field "
            "scale, would."
        )
    if solution.misfit > 4.0:
        notes.append(
            f"The model misses the frames by {math.sqrt(solution.misfit):.1f} times their noise: real beams are not exact discs, or the "
            "tube is not round; the uncertainty stated allows for it."
        )
    dropped = 1 - sum(int(k.sum()) for k in solution.kept) / max(1, sum(len(k) for k in solution.kept))
    if dropped > 0.05:
        notes.append(f"{dropped:.0%} of the cells do not fit and were left out: look for marks on the wall, or a dent in the tube.")
    for name, limit in (("decentre", 3 * SEAT_PLAY), ("lean", 3 * LEAN)):
        for i, block in enumerate(fit.blocks):
            if block.tube is None:
                continue
            off = math.hypot(solution.value(f"{name}_x {i}"), solution.value(f"{name}_y {i}"))
            if off - 2 * math.hypot(solution.error(f"{name}_x {i}"), solution.error(f"{name}_y {i}")) > limit:
                notes.append(f'Tube "{block.tube.name}" sits badly ({name}): seat it squarely and shoot again.')
    return notes, settled
