"""Named frame formats: width and height of the picture area in mm, and where each figure is from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Format:
    """A frame format: `width` by `height` in mm, held in landscape, with the source of the figures."""

    name: str
    width: float
    height: float
    source: str


_FILM = "120-film frame tables in general encyclopaedias (film: ISO 732); makers differ, so measure yours"
_SENSORS = "open sensor-size tables (several agree)"
_MOTION = "motion-picture camera aperture tables, inches converted"

_ALL = (
    Format("135", 36.0, 24.0, "ISO 1007, 135 film picture size (from memory; many tables agree)"),
    Format("135-square", 24.0, 24.0, "half-width use of 135 film, common practice, no source"),
    Format("645", 56.0, 41.5, _FILM),
    Format("6x6", 56.0, 56.0, _FILM),
    Format("6x7", 70.0, 56.0, _FILM),
    Format("6x8", 77.0, 56.0, _FILM),
    Format("6x9", 84.0, 56.0, _FILM),
    Format("6x12", 118.0, 56.0, _FILM),
    Format("6x17", 168.0, 56.0, _FILM),
    Format("4x5", 121.0, 97.0, "sheet-film image area in general tables; sheet 127 x 102"),
    Format("44x33", 43.8, 32.9, _SENSORS),
    Format("54x40", 53.4, 40.0, _SENSORS),
    Format("aps-h", 27.9, 18.6, _SENSORS),
    Format("aps-c", 23.6, 15.7, _SENSORS + "; other makers state up to 23.7 x 15.8"),
    Format("aps-c-small", 22.3, 14.9, _SENSORS),
    Format("four-thirds", 17.3, 13.0, _SENSORS),
    Format("1-inch", 13.2, 8.8, _SENSORS),
    Format("2/3-inch", 8.8, 6.6, _SENSORS),
    Format("super-35-4perf", 24.89, 18.66, _MOTION),
    Format("super-35-3perf", 24.89, 14.0, _MOTION),
    Format("academy-35", 22.0, 16.0, _MOTION),
    Format("super-16", 12.52, 7.41, _MOTION),
    Format("16mm", 10.26, 7.49, _MOTION),
    Format("super-8", 5.79, 4.01, _MOTION),
    Format("65-5perf", 52.48, 23.01, _MOTION),
    Format("70-15perf", 70.41, 52.63, _MOTION),
)

FORMATS: dict[str, Format] = {entry.name: entry for entry in _ALL}
