"""Fit a petal hood to an invented wide prime, check it, and say what limits it."""

from __future__ import annotations

import shadewright as sw

LENS = """
document = "lens"
version = 1
name = "Sorrel 24"

[front]
rim_diameter = 72.0
clear_diameter = 60.0
clear_depth = 1.5

[seat]
on = "front"
diameter = 72.0

[[state]]
focal_length = 24.0
f_number = 2.0
reach = 1.0
pupil_depth = 27.0
pupil_depth_plus_minus = 0.5
"""
CAMERA = 'document = "camera"\nversion = 1\nname = "Heron body"\nformat = "135"\n'
HOOD = 'document = "hood"\nversion = 1\nname = "Sorrel petal"\n[wishes]\nlargest_length = 60.0\n'


def main() -> None:
    """Fit, check and print."""
    lens = sw.parse_document(LENS, sw.Lens)
    camera = sw.parse_document(CAMERA, sw.Camera)
    fitting = sw.fit(lens, camera, sw.parse_document(HOOD, sw.Hood))
    verdict = sw.check(fitting.job, fitting.shape)
    print(f"{fitting.shape.rim.shallowest:.1f} to {fitting.shape.rim.deepest:.1f} mm ahead of the seat")
    print("clear" if not verdict.shows else f"shows: {verdict.worst.stops:.2f} stop")
    for place, azimuth in {"right": 0, "top right": 34, "top": 90}.items():
        print(f"{place}: {fitting.deepest[azimuth]:.1f} mm, limited by {fitting.binding(azimuth)}")


if __name__ == "__main__":
    main()
