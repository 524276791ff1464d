"""Optical glass: refractive indices by name, or from an index and an Abbe number."""

from __future__ import annotations

import difflib
import math
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from shadewright.errors import OpticsError
from shadewright.model.base import shown

D_LINE, F_LINE, C_LINE, G_LINE = 587.5618, 486.1327, 656.2725, 435.8343
"""The spectral lines of the visible that indices are tabulated at, nm."""
SHORTEST, LONGEST_WAVE = 365.0, 1060.0
"""The range in which an index with an Abbe number is carried to other wavelengths, nm."""

GlassOrIndex = str | tuple[float | None, float | None]
"""A glass's name, or its index at the d line with its Abbe number (None: the same index at all wavelengths)."""


@dataclass(frozen=True)
class Glass:
    """A glass of the table: n² = 1 + `constant` + Σ strength λ² / (λ² - resonance), λ in µm.

    shortest, longest: the range of the data, nm.
    """

    name: str
    constant: float
    strengths: tuple[float, ...]
    resonances: tuple[float, ...]
    shortest: float
    longest: float

    def index(self, wavelength: float) -> float:
        """Refractive index at a wavelength in nm, relative to air. Raises OpticsError outside the range of the data."""
        _in_range(wavelength, self.shortest, self.longest, f"glass {self.name}")
        square = (wavelength / 1000.0) ** 2
        terms = sum(k * square / (square - l) for k, l in zip(self.strengths, self.resonances, strict=True))
        return math.sqrt(1.0 + self.constant + terms)

    @property
    def abbe(self) -> float:
        """The Abbe number Vd."""
        return (self.index(D_LINE) - 1.0) / (self.index(F_LINE) - self.index(C_LINE))


@lru_cache(maxsize=1)
def glass_table() -> dict[str, Glass]:
    """The glasses known by name."""
    text = resources.files("shadewright.model").joinpath("glasses.toml").read_text("utf-8")
    table = {}
    for entry in tomllib.loads(text)["glass"]:
        table[entry["name"]] = Glass(
            name=entry["name"],
            constant=float(entry.get("constant", 0.0)),
            strengths=tuple(entry["strengths"]),
            resonances=tuple(entry["resonances"]),
            shortest=float(entry["range"][0]),
            longest=float(entry["range"][1]),
        )
    return table


@lru_cache(maxsize=1)
def _spellings() -> dict[str, str]:
    """The table's names by what is left of them without hyphens."""
    return {_bare(name): name for name in glass_table()}


def find_glass(name: str) -> str | None:
    """The table's own spelling of a glass's name, whatever its case and hyphens; None where it is not in the table."""
    return name if name in glass_table() else _spellings().get(_bare(name[:40]))


def known_glass(name: str) -> str:
    """The table's own spelling of a glass's name. Raises ValueError, saying which glass is nearest."""
    if found := find_glass(name):
        return found
    near = difflib.get_close_matches(name.upper()[:40], list(glass_table()), n=1, cutoff=0.6)
    hint = f"perhaps {shown(near[0])} is meant, or" if near else "correct it, or"
    raise ValueError(f"is not in the table of glasses: {hint} give index and abbe instead")


def index_of(medium: GlassOrIndex, wavelength: float = D_LINE) -> float:
    """Refractive index of a named glass, or of an (index, Abbe number), at a wavelength in nm.

    Raises OpticsError for an unknown glass and for a wavelength outside the data's range.
    """
    if isinstance(medium, str):
        try:
            return glass_table()[known_glass(medium)].index(wavelength)
        except ValueError as error:
            raise OpticsError(f"glass = {shown(medium)} {error}.") from None
    index, abbe = medium
    if index is None:
        return 1.0
    if not math.isfinite(wavelength) or wavelength <= 0:
        _in_range(wavelength, SHORTEST, LONGEST_WAVE, "an index")
    if abbe is None or index == 1.0 or abs(wavelength - D_LINE) < 1e-3:
        return index
    _in_range(wavelength, SHORTEST, LONGEST_WAVE, "an index with an Abbe number")
    first, second = _colour_coefficients(index, abbe)
    colour = _colour(wavelength)
    return index + first * colour + second * colour * colour


def _colour(wavelength: float) -> float:
    """The colour coordinate w = Δ / (1 + 2.5 Δ), Δ the distance from the d line in µm (H. A. Buchdahl, 1954)."""
    distance = (wavelength - D_LINE) / 1000.0
    return distance / (1.0 + 2.5 * distance)


def _colour_coefficients(index: float, abbe: float) -> tuple[float, float]:
    """v1, v2 of n = nd + v1 w + v2 w² from nF - nC = (nd - 1) / Vd and the normal line of partial dispersions.

    Normal line: (ng - nF) / (nF - nC) = 0.6438 - 0.001682 Vd (technical information on optical glass, TIE-29). The
    polynomial in w: P. N. Robb and R. I. Mercado, Calculation of refractive indices using Buchdahl's chromatic
    coordinate, Applied Optics 22, 1198 (1983), who show that 2.5 suits glasses.
    """
    spread = (index - 1.0) / abbe
    blue, red, violet = _colour(F_LINE), _colour(C_LINE), _colour(G_LINE)
    # Two equations in v1, v2: one for F and C, one for g and F.
    a, b, p = blue - red, blue**2 - red**2, spread
    c, d, q = violet - blue, violet**2 - blue**2, spread * (0.6438 - 0.001682 * abbe)
    determinant = a * d - b * c
    return (p * d - b * q) / determinant, (a * q - p * c) / determinant


def _in_range(wavelength: float, shortest: float, longest: float, what: str) -> None:
    if not shortest <= wavelength <= longest:
        raise OpticsError(
            f"wavelength {wavelength:g} nm is outside the {shortest:g} to {longest:g} nm for which {what} is known; "
            "choose one inside."
        )


def _bare(name: str) -> str:
    """A glass's name without case, spaces and hyphens."""
    return name.upper().replace("-", "").replace(" ", "").replace("_", "")
