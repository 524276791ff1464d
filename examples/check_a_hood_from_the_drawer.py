"""Describe a hood by what a ruler says and find the focal lengths at which it stays clear on an invented zoom."""

from __future__ import annotations

import shadewright as sw
from shadewright.model.geometry import shape_of

LENS = """
document = "lens"
version = 1
name = "Tarn 24-70"

[front]
rim_diameter = 80.0
clear_diameter = 68.0
clear_depth = 2.0

[[state]]
focal_length = 24.0
f_number = 4.0
reach = 12.0
pupil_depth = 31.0

[[state]]
focal_length = 40.0
f_number = 4.0
reach = 4.0
pupil_depth = 38.0

[[state]]
focal_length = 70.0
f_number = 4.0
reach = 0.0
pupil_depth = 55.0
"""
CAMERA = 'document = "camera"\nversion = 1\nname = "Heron body"\nformat = "135"\n'
HOOD = """
document = "hood"
version = 1
name = "from the drawer"

[wall]
inner_diameter = 88.0

[rim.petals]
right = 40.0
left = 40.0
top = 58.0
bottom = 58.0
corners = 34.0
corner_azimuth = 35.0
"""


def main() -> None:
    """Check and print."""
    work = sw.job(sw.parse_document(LENS, sw.Lens), sw.parse_document(CAMERA, sw.Camera))
    verdict = sw.check(work, shape_of(sw.parse_document(HOOD, sw.Hood)))
    print("it shows" if verdict.shows else "it is clear", f"(tightest at {verdict.tightest})")
    for run in verdict.ranges:
        ends = "nowhere" if run.low is None else f"from {run.low:.4g} to {run.high:.4g} {run.unit}"
        print(f"clear over {run.quantity}: {ends}")


if __name__ == "__main__":
    main()
