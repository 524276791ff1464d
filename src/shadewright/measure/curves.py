"""Tone curves: from the numbers in a developed picture back to light."""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CURVE_DOUBT = 0.15
"""How far a loss in stops read from a picture that a camera has developed may be off, as a share of it: cameras bend the
curve that the file names (common practice, no source)."""
_GREY_TAGS = (b"gTRC", b"kTRC", b"rTRC")


@dataclass(frozen=True, eq=False)
class Curve:
    """Light, 0 to 1, for each number a picture can hold: `table` (256,) or (65536,)."""

    name: str
    table: Array

    @property
    def is_linear(self) -> bool:
        """True where light is proportional to the number."""
        return bool(np.max(np.abs(self.table - np.linspace(0.0, 1.0, len(self.table)))) < 1e-4)


def linear(size: int) -> Curve:
    """The curve of a picture whose numbers are proportional to light."""
    return Curve("linear", np.linspace(0.0, 1.0, size))


def srgb(size: int) -> Curve:
    """The curve of IEC 61966-2-1 (sRGB): linear to 0.04045, then ((v + 0.055) / 1.055)^2.4."""
    v = np.linspace(0.0, 1.0, size)
    return Curve("sRGB", np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4))


def profile_curve(profile: bytes | None, size: int) -> Curve | None:
    """The curve in an embedded colour profile (ICC.1:2022, tags "curv" and "para"), or None where it holds none."""
    if profile is None or len(profile) < 132:
        return None
    count = min(int.from_bytes(profile[128:132], "big"), 200)
    for entry in range(count):
        at = 132 + 12 * entry
        if len(profile) < at + 12:
            return None
        if profile[at : at + 4] in _GREY_TAGS:
            start, length = struct.unpack(">II", profile[at + 4 : at + 12])
            table = _tag_table(profile[start : start + min(length, 1_000_000)], np.linspace(0.0, 1.0, size))
            if table is not None and _sane(table):
                return Curve("the file's own profile", table)
    return None


def _tag_table(tag: bytes, v: Array) -> Array | None:
    """The values of one curve tag at `v`, 0 to 1."""
    if len(tag) < 12:
        return None
    if tag[:4] == b"curv":
        count = int.from_bytes(tag[8:12], "big")
        if count == 0:
            return v.copy()
        if len(tag) < 12 + 2 * count:
            return None
        numbers = np.frombuffer(tag, ">u2", count, 12).astype(float)
        if count == 1:
            return np.asarray(v ** (numbers[0] / 256.0))
        return np.interp(v, np.linspace(0.0, 1.0, count), numbers / 65535.0)
    if tag[:4] == b"para":
        return _parametric(int.from_bytes(tag[8:10], "big"), tag[12:], v)
    return None


def _parametric(form: int, data: bytes, v: Array) -> Array | None:
    wanted = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}.get(form)
    if wanted is None or len(data) < 4 * wanted:
        return None
    p = np.frombuffer(data, ">i4", wanted).astype(float) / 65536.0
    gamma, a, b = p[0], 1.0, 0.0
    if wanted > 1:
        a, b = p[1], p[2]
    bent = np.maximum(a * v + b, 0.0) ** gamma
    if form == 1:
        return np.where(a * v + b >= 0, bent, 0.0)
    if form == 2:
        return np.where(a * v + b >= 0, bent, 0.0) + p[3]
    if form == 3:
        return np.where(v >= p[4], bent, p[3] * v)
    if form == 4:
        return np.where(v >= p[4], bent + p[5], p[3] * v + p[6])
    return bent


def _sane(table: Array) -> bool:
    """Whether a curve rises from dark to light all the way."""
    return bool(np.all(np.isfinite(table)) and np.all(np.diff(table) >= -1e-9) and 0.5 < table[-1] < 1.5 and table[0] < 0.1)
