"""Finishes: how hood surfaces scatter. A Lambertian part, a lobe in β - β0, and a mirror part that grows at grazing.

β is the direction's projection on the surface (its length is sin θ), β0 that of the mirror direction. The whole is

    f = (1 - F_i) (1 - F_o) (albedo / π + lobe(|β - β0|)) / scale   and a mirror share F_i,

F the mirror share at the angle of coming in (i) or going out (o). This is reciprocal, and never sends back more than it
gets: a lobe's integral is largest at normal incidence (TIS), and where albedo + TIS would pass 1 both are divided by
their sum (`scale`). What a rough surface takes from its mirror share is counted as lost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import hyp2f1

from shadewright.errors import LightError

Array = NDArray[np.float64]

KNOTS = 512
"""Rings of equal weight into which a lobe is cut for sampling; the weight of a sample corrects what is left."""
ANGLES = 129
"""Angles of incidence at which the reflectance is tabulated, even in cos θ."""
SUBRINGS = 2
TURNS = 16
WIDEST = 2.0
"""Largest |β - β0| there is."""


@dataclass(frozen=True)
class ABg:
    """Lobe A / (B + |β - β0|^g), per steradian. Source of the form: the help of a stray-light program, "ABg"."""

    a: float
    b: float
    g: float

    def __post_init__(self) -> None:
        _within("lobe.a", self.a, 0.0, 1e6)
        _within("lobe.b", self.b, 1e-12, 1e6)
        _within("lobe.g", self.g, 0.0, 20.0)

    def bsdf(self, offset: Array | float) -> Array:
        """Value per steradian at |β - β0| (any shape)."""
        return np.asarray(self.a / (self.b + np.asarray(offset, dtype=float) ** self.g))

    def integral(self, radius: Array) -> Array:
        """Integral over |β - β0| <= radius (n,): (π A r² / B) 2F1(1, 2/g; 1 + 2/g; -r^g / B); π A ln(1 + r² / B) for g = 2."""
        if self.g == 0.0:
            return math.pi * radius**2 * self.a / (self.b + 1.0)
        if self.g == 2.0:
            return math.pi * self.a * np.log1p(radius**2 / self.b)
        q = 2.0 / self.g
        return np.asarray(math.pi * self.a * radius**2 / self.b * hyp2f1(1.0, q, 1.0 + q, -(radius**self.g) / self.b))

    def within(self, radius: float) -> float:
        """Integral over |β - β0| <= radius."""
        return float(self.integral(np.array([radius]))[0])


@dataclass(frozen=True)
class Harvey:
    """Lobe b0 (1 + (|β - β0| / l)²)^(s / 2), per steradian (Harvey and Shack)."""

    b0: float
    l: float
    s: float

    def __post_init__(self) -> None:
        _within("lobe.b0", self.b0, 0.0, 1e9)
        _within("lobe.l", self.l, 1e-6, 1e3)
        _within("lobe.s", self.s, -20.0, 0.0)

    def bsdf(self, offset: Array | float) -> Array:
        """Value per steradian at |β - β0| (any shape)."""
        return np.asarray(self.b0 * (1.0 + (np.asarray(offset, dtype=float) / self.l) ** 2) ** (self.s / 2.0))

    def integral(self, radius: Array) -> Array:
        """Integral over |β - β0| <= radius (n,): 2 π b0 l² ((1 + r² / l²)^(s/2 + 1) - 1) / (s + 2), or its limit at s = -2."""
        grown = np.log1p((radius / self.l) ** 2)
        power = self.s / 2.0 + 1.0
        if power == 0.0:
            return math.pi * self.b0 * self.l**2 * grown
        return np.asarray(math.pi * self.b0 * self.l**2 * np.expm1(power * grown) / power)

    def within(self, radius: float) -> float:
        """Integral over |β - β0| <= radius."""
        return float(self.integral(np.array([radius]))[0])


Lobe = ABg | Harvey


def tis(lobe: Lobe) -> float:
    """Total integrated scatter of a lobe at normal incidence: its integral over |β - β0| <= 1."""
    return lobe.within(1.0)


def tis_of_roughness(sigma: float, wavelength: float, *, cosine: float = 1.0) -> float:
    """Share of a mirror's light that a small roughness scatters: (4 π σ cos θ / λ)², both lengths in one unit.

    The rule of smooth mirrors, (2 π Δn σ / λ)² with Δn = 2.
    """
    return (4.0 * math.pi * sigma * cosine / wavelength) ** 2


@dataclass(frozen=True)
class Finish:
    """How a surface scatters.

    albedo: the Lambertian share, 0 to 1. lobe: the near-mirror scatter. index: refractive index of a smooth skin, whose
    Fresnel reflectance (unpolarised) is the mirror share, times `gloss` (0 to 1) and, for a rough skin, times
    exp(-(4 π roughness cos θ)²) with roughness as σ / λ; no index, no mirror share.
    low and high: range of the hemispherical reflectance to be expected; source: where the numbers come from.
    """

    name: str
    albedo: float
    lobe: Lobe | None = None
    index: float | None = None
    gloss: float = 1.0
    roughness: float = 0.0
    low: float | None = None
    high: float | None = None
    source: str = ""

    def __post_init__(self) -> None:
        _within("albedo", self.albedo, 0.0, 1.0)
        _within("gloss", self.gloss, 0.0, 1.0)
        _within("roughness", self.roughness, 0.0, 100.0)
        if self.index is not None:
            _within("index", self.index, 1.0, 10.0)

    @property
    def scale(self) -> float:
        """What the Lambertian part and the lobe are divided by: 1, or their sum where that passes 1."""
        return max(1.0, self.albedo + (tis(self.lobe) if self.lobe else 0.0))

    @property
    def diffuse_only(self) -> bool:
        """True for a plain Lambertian finish."""
        return self.lobe is None and self.index is None

    def mirror_share(self, cosine: Array | float) -> Array:
        """The mirror share at cos θ of incidence (any shape)."""
        c = np.clip(np.asarray(cosine, dtype=float), 0.0, 1.0)
        if self.index is None:
            return np.zeros_like(c)
        rough = np.exp(-((4.0 * math.pi * self.roughness * c) ** 2))
        return np.asarray(self.gloss * rough * fresnel(c, self.index))

    def reflectance(self, theta: float = 0.0) -> float:
        """Hemispherical reflectance for light at `theta` degrees from the normal, 0 to 1."""
        _within("theta", theta, 0.0, 90.0)
        return float(np.interp(math.cos(math.radians(theta)), np.linspace(0.0, 1.0, ANGLES), prepared(self).reflectance))

    @property
    def diffuse_reflectance(self) -> float:
        """Hemispherical reflectance for light from all directions alike."""
        c = np.linspace(0.0, 1.0, ANGLES)
        return float(np.trapezoid(2.0 * c * prepared(self).reflectance, c))

    def with_albedo(self, albedo: float) -> Finish:
        """The same finish with another Lambertian share."""
        return replace(self, albedo=albedo)


def fresnel(cosine: Array | float, index: float) -> Array:
    """Reflectance of a smooth dielectric of refractive `index` for unpolarised light at cos θ (Fresnel's equations)."""
    c = np.asarray(cosine, dtype=float)
    inside = np.sqrt(1.0 - (1.0 - c * c) / (index * index))
    across = (c - index * inside) / np.maximum(c + index * inside, 1e-300)
    along = (index * c - inside) / np.maximum(index * c + inside, 1e-300)
    return np.asarray(np.where(index == 1.0, 0.0, 0.5 * (across * across + along * along)))


FAINTEST = 1e-12
"""A lobe that scatters no more than this share of the light is taken as none."""


class Prepared(NamedTuple):
    """A finish as plain arrays for the kernels.

    values: albedo, lobe's integral over |β - β0| <= 2, index (0 for none), gloss, 4 π roughness, lobe kind (0 none,
    1 ABg, 2 Harvey) and its three numbers; albedo and lobe already divided by the scale. rings: (KNOTS + 1,) squares of
    the radii of rings of equal weight. reflectance: (ANGLES,) at cos θ from 0 to 1.
    """

    values: Array
    rings: Array
    reflectance: Array


@lru_cache(maxsize=64)
def prepared(finish: Finish) -> Prepared:
    """The finish as arrays; kept, since a search uses few finishes many times."""
    values = np.zeros(9)
    values[0] = finish.albedo / finish.scale
    values[2:5] = finish.index or 0.0, finish.gloss, 4.0 * math.pi * finish.roughness
    rings = np.linspace(0.0, WIDEST**2, KNOTS + 1)
    lobe = finish.lobe
    if lobe is not None and lobe.within(WIDEST) > FAINTEST:
        values[1] = lobe.within(WIDEST) / finish.scale
        numbers = (1, lobe.a, lobe.b, lobe.g) if isinstance(lobe, ABg) else (2, lobe.b0, lobe.l, lobe.s)
        values[5:9] = numbers
        values[6] /= finish.scale
        rings = _rings(lobe)
    return Prepared(values, rings, _reflectance(finish, rings))


def _rings(lobe: Lobe) -> Array:
    """Squares of the radii that cut the lobe into rings of equal weight, from the closed-form integral."""
    radius = np.concatenate([[0.0], np.geomspace(1e-9, WIDEST, 6000)])
    weight = lobe.integral(radius)
    found = np.interp(np.linspace(0.0, 1.0, KNOTS + 1), weight / weight[-1], radius**2)
    found[-1] = WIDEST**2
    return np.asarray(np.maximum.accumulate(found + np.arange(KNOTS + 1) * 1e-24))


def _reflectance(finish: Finish, rings: Array) -> Array:
    """Directional-hemispherical reflectance (ANGLES,) by sums over the lobe's rings and over the outgoing angle."""
    cosine = np.linspace(0.0, 1.0, ANGLES)
    mirror = finish.mirror_share(cosine)
    node, weight = np.polynomial.legendre.leggauss(64)
    out2 = 0.5 * (node + 1.0)
    kept = float(np.sum(0.5 * weight * (1.0 - finish.mirror_share(np.sqrt(1.0 - out2)))))
    body = np.full(ANGLES, finish.albedo / finish.scale * kept)
    if finish.lobe is not None:
        share = np.arange(SUBRINGS) / SUBRINGS
        edges = np.append((rings[:-1, None] + share * np.diff(rings)[:, None]).ravel(), rings[-1])
        weights = np.diff(finish.lobe.integral(np.sqrt(edges))) / finish.scale
        middle2 = 0.5 * (edges[:-1] + edges[1:])
        middle = np.sqrt(middle2)
        for k, c in enumerate(cosine):
            body[k] += float(np.sum(weights * _ring_kept(finish, c, middle, middle2)))
    return np.asarray(np.minimum(mirror + (1.0 - mirror) * body, 1.0))


def _ring_kept(finish: Finish, cosine: float, radius: Array, radius2: Array) -> Array:
    """Share (n,) of rings about the mirror direction that lies above the surface and passes the skin on its way out."""
    sine = math.sqrt(1.0 - cosine * cosine)
    # On a ring |β|² = sine² + r² + 2 sine r cos(turn): above the surface for turns from `first` to half a turn.
    limit = (cosine * cosine - radius2) / np.maximum(2.0 * sine * radius, 1e-300)
    first = np.arccos(np.clip(limit, -1.0, 1.0))
    if finish.index is None:
        return np.asarray(1.0 - first / math.pi)
    node = (np.arange(TURNS) + 0.5) / TURNS
    turn = first[:, None] + (math.pi - first)[:, None] * node
    beta2 = sine**2 + radius2[:, None] + 2.0 * sine * radius[:, None] * np.cos(turn)
    out = np.sqrt(np.clip(1.0 - beta2, 0.0, 1.0))
    kept = np.mean(1.0 - finish.mirror_share(out), axis=1)
    return np.asarray(kept * (1.0 - first / math.pi))


def _within(field: str, value: float, low: float, high: float) -> None:
    """Refuse what is not a number within its range."""
    if not (math.isfinite(value) and low <= value <= high):
        raise LightError(f"finish: {field} is {value:g}, but must be from {low:g} to {high:g}; correct it.")
