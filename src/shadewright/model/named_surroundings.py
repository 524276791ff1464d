"""Surroundings that go by a name: examples to weigh hoods in, not forecasts.

Sun and sky follow the rules of thumb of the Illuminating Engineering Society for clear and overcast days (from memory,
good to perhaps a third): facing the sun 127.5 exp(-0.21 / sin h) klx, the clear sky on level ground
0.8 + 15.5 sqrt(sin h) klx, the overcast sky 0.3 + 21 sin h klx, h being the sun's elevation. Indoor figures are common
practice, no source. Units: cd/m2 and lux.
"""

from __future__ import annotations

from shadewright.model.surroundings import (
    GroundPart,
    PanePart,
    SkyKind,
    SkyPart,
    SourcePart,
    SunPart,
    Surroundings,
)

GRASS, SNOW = GroundPart(reflectance=0.2), GroundPart(reflectance=0.8)


def _scene(name: str, notes: str, **parts: object) -> Surroundings:
    return Surroundings.model_validate(
        {"document": "surroundings", "version": 1, "name": name, "notes": notes, **parts}
    )


def _lamp(name: str, off_axis: float, clock: float) -> SourcePart:
    return SourcePart(name=name, off_axis=off_axis, clock=clock, size=2.0, illuminance=500.0)


NAMED: dict[str, Surroundings] = {
    scene.name: scene
    for scene in (
        _scene("even", "The same brightness from every side.", around=1.0),
        _scene(
            "overcast", "An overcast day over grass, the sun unseen at 45 degrees.",
            sky=SkyPart(kind=SkyKind.OVERCAST, zenith=6200.0), ground=GRASS,
        ),
        _scene(
            "clear-day", "A clear day over grass, the sun 40 degrees high and 70 degrees to the right.",
            sky=SkyPart(kind=SkyKind.CLEAR, zenith=2450.0), ground=GRASS,
            sun=SunPart(elevation=40.0, azimuth=70.0, illuminance=91_900.0),
        ),
        _scene(
            "low-sun", "A clear evening over grass, the sun 15 degrees high and 55 degrees to the right.",
            sky=SkyPart(kind=SkyKind.CLEAR, zenith=1200.0), ground=GRASS,
            sun=SunPart(elevation=15.0, azimuth=55.0, illuminance=56_600.0),
        ),
        _scene(
            "snow", "A clear day over fresh snow, the sun 30 degrees high and 60 degrees to the right.",
            sky=SkyPart(kind=SkyKind.CLEAR, zenith=1840.0), ground=SNOW,
            sun=SunPart(elevation=30.0, azimuth=60.0, illuminance=83_800.0),
        ),
        _scene(
            "window", "A bright window to the left of what is photographed in a dim room.",
            around=40.0, frame_luminance=60.0,
            pane=(PanePart(left=-80.0, right=-50.0, bottom=-10.0, top=40.0, luminance=3000.0),),
        ),
        _scene(
            "stage", "A dark hall: two lamps behind the players, two in the wings, a front lamp behind the camera.",
            around=0.5, frame_luminance=50.0,
            source=(
                _lamp("back lamp, left", 52.0, 330.0), _lamp("back lamp, right", 52.0, 30.0), _lamp("left wing", 75.0, 280.0),
                _lamp("right wing", 75.0, 80.0), _lamp("front lamp", 150.0, 0.0),
            ),
        ),
    )
}  # fmt: skip
"""Each by its name, with what it is in `notes`."""
USUAL = ("overcast", "low-sun", "window")
"""Those that hoods are weighed in where none is asked for."""
