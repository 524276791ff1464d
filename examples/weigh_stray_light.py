"""Light from outside the frame on a stage: past the hood, by way of its wall, and what the finish is worth."""

from __future__ import annotations

import shadewright as sw
from shadewright.design.weigh import weigh

LENS = """
document = "lens"
version = 1
name = "Sorrel 35"

[front]
rim_diameter = 66.0
clear_diameter = 54.0
clear_depth = 1.5

[seat]
on = "front"
diameter = 66.0

[[state]]
focal_length = 35.0
f_number = 2.0
reach = 1.0
pupil_depth = 24.0
pupil_depth_plus_minus = 0.5
"""
CAMERA = 'document = "camera"\nversion = 1\nname = "Heron body"\nformat = "135"\n'
HOOD = 'document = "hood"\nversion = 1\nname = "Sorrel petal"\n[wishes]\nlargest_length = 45.0\n'
STAGE = """
document = "surroundings"
version = 1
name = "second row"
around = 0.5
frame_luminance = 40.0

[[source]]
name = "back lamp"
off_axis = 50.0
clock = 330.0
size = 2.0
illuminance = 400.0

[[source]]
name = "side lamp"
off_axis = 78.0
clock = 85.0
illuminance = 300.0
"""


def main() -> None:
    """Weigh three hoods and print where light comes from."""
    stage = sw.parse_document(STAGE, sw.Surroundings)
    weighing = weigh(
        sw.parse_document(LENS, sw.Lens), sw.parse_document(CAMERA, sw.Camera), sw.parse_document(HOOD, sw.Hood),
        surroundings=[stage],
    )  # fmt: skip
    for entry in weighing.candidates:
        light = entry.stray[1]
        print(
            f"{entry.name}: {light.direct:.1%} direct, {light.wall:.2%} by way of the wall, "
            f"{light.stops:.2f} stop less veiling glare"
        )
    print(f"recommended: {weighing.choice}")
    for trial in weighing.trials[:3]:
        print(f"{trial.finish} inside: {trial.light[1].wall:.2%} by way of the wall")


if __name__ == "__main__":
    main()
