"""The sheet that a rim's strip is photographed on: markers that give scale and perspective, and two lanes for the strip's halves."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shadewright.errors import MeasureError

Array = NDArray[np.float64]

SHEET = (297.0, 210.0)
"""Width and height of the sheet, mm: A4 lying."""
MARKER = 18.0
"""Side of a marker, mm, its black border included."""
MARKER_CELLS = 6
"""Squares along a marker's side, border included (a 4 x 4 code)."""
PLACES = (
    (12.0, 180.0), (139.5, 180.0), (267.0, 180.0), (12.0, 96.0), (267.0, 96.0), (12.0, 10.0), (139.5, 10.0), (267.0, 10.0),
)  # fmt: skip
"""Lower left corners of the markers 0 to 7 on the sheet, mm."""
LANE_MIDDLE = 148.5
LANE_HALF = 112.0
"""Half the width of a lane, mm: the longest half of a half strip."""
LANES = (114.0, 36.0)
"""Heights of the base lines of the upper lane (the hood's top half) and the lower one, mm above the sheet's lower edge."""
LANE_HEIGHT = 62.0
"""Height of a lane above its base line, mm."""
FEWEST_MARKERS = 4
MOST_OFF = 0.6
"""Root mean square error of the markers' corners beyond which a picture is refused, mm."""


@dataclass(frozen=True, eq=False)
class Sighting:
    """Where the sheet lies in a picture: `to_pixels` (3, 3) takes mm on the sheet to pixels; `error` mm, rms of the corners."""

    to_pixels: Array
    error: float
    markers: int


def marker_squares(number: int) -> NDArray[np.bool_]:
    """(MARKER_CELLS, MARKER_CELLS) which squares of a marker are black, row 0 at its top."""
    import cv2

    image = cv2.aruco.generateImageMarker(_codes(), number, MARKER_CELLS)
    return np.asarray(image) < 128


def _codes() -> Any:
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def find_target(picture: NDArray[np.uint8], *, name: Path, scale: float = 1.0) -> Sighting:
    """Find the sheet in a grey picture (rows, columns), upright or turned.

    scale: how much larger than drawn the sheet was printed. Raises MeasureError where fewer than FEWEST_MARKERS markers are
    seen or they do not lie in a plane.
    """
    import cv2

    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, numbers, _ = cv2.aruco.ArucoDetector(_codes(), settings).detectMarkers(picture)
    known = [] if numbers is None else [(int(n), c.reshape(4, 2)) for n, c in zip(np.ravel(numbers), corners, strict=True)]
    known = [(n, c) for n, c in known if n < len(PLACES)]
    if len({n for n, _ in known}) < FEWEST_MARKERS:
        raise MeasureError(
            f"{name}: shows {len(known)} of the sheet's {len(PLACES)} markers, and {FEWEST_MARKERS} are needed; lay the strip clear of "
            "them, and photograph the whole sheet sharply from straight above."
        )
    sheet = np.concatenate([_marker_corners(n) for n, _ in known]) * scale
    seen = np.concatenate([c for _, c in known]).astype(float)
    matrix, _ = cv2.findHomography(sheet, seen, 0)
    if matrix is None:
        raise MeasureError(f"{name}: the markers do not lie as on the sheet; print it anew and keep it flat.")
    back = _through(np.linalg.inv(np.asarray(matrix, float)), seen)
    error = float(np.sqrt(np.mean(np.sum((back - sheet) ** 2, axis=1))))
    if error > MOST_OFF:
        raise MeasureError(
            f"{name}: the markers lie {error:.2f} mm off a flat sheet, more than {MOST_OFF:g}; keep the sheet flat, step back and "
            "zoom in, or scan it."
        )
    return Sighting(np.asarray(matrix, float), error, len(known))


def _marker_corners(number: int) -> Array:
    """Corners of a marker on the sheet, mm, y upwards: top left, top right, bottom right, bottom left."""
    x, y = PLACES[number]
    return np.array([(x, y + MARKER), (x + MARKER, y + MARKER), (x + MARKER, y), (x, y)])


def _through(matrix: Array, points: Array) -> Array:
    """Points (n, 2) taken through a perspective (3, 3)."""
    wide = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(wide[:, :2] / wide[:, 2:])


def flattened(picture: NDArray[np.uint8], sighting: Sighting, lane: int, *, per_mm: float, scale: float = 1.0) -> NDArray[np.uint8]:
    """A lane of the sheet seen straight on at `per_mm` pixels a mm: row 0 at LANE_HEIGHT above its base line, x to the right."""
    import cv2

    width, height = round(2 * LANE_HALF * per_mm), round(LANE_HEIGHT * per_mm)
    # Pixels to mm on the sheet as printed: the lane's middle and base line are printed, what lies on it has its own size.
    left, top = LANE_MIDDLE * scale - LANE_HALF, LANES[lane] * scale + LANE_HEIGHT
    to_sheet = np.array([[1 / per_mm, 0, left + 0.5 / per_mm], [0, -1 / per_mm, top - 0.5 / per_mm], [0, 0, 1.0]])
    matrix = sighting.to_pixels @ to_sheet
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpPerspective(picture, matrix, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE), np.uint8)
