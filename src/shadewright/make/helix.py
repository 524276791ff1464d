"""A rod with an external metric thread, as one structured mesh."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from shadewright.make.section import solid_of
from shadewright.make.thread import MadeProfile


def threaded_rod(profile: MadeProfile, *, bottom: float, top: float, segments: int) -> Any:
    """A rod round the z axis, threaded from below z = `bottom` to above z = `top` (mm), its ends left ragged.

    The thread is right-handed as made. Seat coordinates are not: with x to the right, y up and z forward as
    seen from behind the camera they form a left-handed system, so in these numbers z falls while azimuth
    rises.
    """
    pitch = profile.pitch
    turns = math.ceil((top - bottom) / pitch) + 3
    corners = np.array(
        [
            (-profile.half_root, profile.root_radius), (profile.half_root, profile.root_radius),
            (pitch / 2 - profile.half_crest, profile.crest_radius),
            (pitch / 2 + profile.half_crest, profile.crest_radius),
        ]
    )  # fmt: skip
    per_turn = len(corners)
    rows = per_turn * turns
    along = np.concatenate([corners[:, 0] + k * pitch for k in range(turns)]) + bottom
    radius = np.tile(corners[:, 1], turns)
    column = np.arange(segments)
    angle = 2.0 * np.pi * column / segments
    # One whole turn lowers the profile by a pitch, so row j of the last column meets row j - per_turn of the
    # first.
    z = along[None, :] - pitch * (column / segments)[:, None]
    points = np.stack([radius * np.cos(angle)[:, None], radius * np.sin(angle)[:, None], z], axis=2)
    place = np.arange(segments * rows).reshape(segments, rows)
    ends = np.array([[0.0, 0.0, float(z.min()) - 1.0], [0.0, 0.0, float(z.max()) + 1.0]])
    vertices = np.concatenate([points.reshape(-1, 3), ends])
    return solid_of(vertices, _faces(place, per_turn).astype(np.uint64))


def _faces(place: NDArray[np.int64], per_turn: int) -> NDArray[np.int64]:
    """Triangles of the helical surface and of the two fans that close it; `place` numbers (columns, rows)."""
    columns, rows = place.shape
    foot, head = columns * rows, columns * rows + 1
    left, right = place[:-1], place[1:]
    quads = [_quads(left[:, :-1], right[:, :-1], right[:, 1:], left[:, 1:])]
    last, first = place[-1, per_turn:], place[0, :-per_turn]
    quads.append(_quads(last[:-1], first[:-1], first[1:], last[1:]))
    low = np.concatenate([place[:, 0], place[-1, 1 : per_turn + 1]])
    high = np.concatenate([place[:, -1], place[0, rows - per_turn - 1 : -1]])
    fans = [
        np.stack([np.roll(low, -1), low, np.full_like(low, foot)], axis=1),
        np.stack([high, np.roll(high, -1), np.full_like(high, head)], axis=1),
    ]
    return np.concatenate(quads + fans)


def _quads(a: NDArray[np.int64], b: NDArray[np.int64], c: NDArray[np.int64], d: NDArray[np.int64]) -> NDArray[np.int64]:
    """Two triangles for each quadrilateral a, b, c, d listed counter-clockwise from outside."""
    first = np.stack([a, b, c], axis=-1).reshape(-1, 3)
    second = np.stack([a, c, d], axis=-1).reshape(-1, 3)
    return np.concatenate([first, second])
