"""Refractive indices: the table against catalogue values, and the dispersion of an index with an Abbe number."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shadewright.errors import OpticsError
from shadewright.model.glass import (
    C_LINE,
    D_LINE,
    F_LINE,
    G_LINE,
    LONGEST_WAVE,
    SHORTEST,
    glass_table,
    index_of,
    known_glass,
)

# nd and Vd as glass catalogues print them (from memory; the six-digit number of each glass says the same to three digits).
CATALOGUE = {
    "N-BK7": (1.51680, 64.17), "N-SK16": (1.62041, 60.32), "N-SF11": (1.78472, 25.68), "N-LAK9": (1.69100, 54.71),
    "N-FK51A": (1.48656, 84.47), "F2": (1.62004, 36.37), "SF6": (1.80518, 25.43), "N-LASF44": (1.80420, 46.50),
    "N-BAF10": (1.67003, 47.11), "K10": (1.50137, 56.41), "N-SSK5": (1.65844, 50.88), "LF5": (1.58144, 40.85),
    "S-FPL51": (1.49700, 81.54), "S-LAH58": (1.88300, 40.76), "S-TIH53": (1.84666, 23.78), "S-BSL7": (1.51633, 64.14),
    "S-LAL14": (1.69680, 55.53), "S-TIM28": (1.68893, 31.07), "S-PHM52": (1.61800, 63.33), "S-FPL53": (1.43875, 94.93),
}  # fmt: skip


@pytest.mark.parametrize("name", CATALOGUE)
def test_index_and_abbe_number_are_those_of_the_catalogues(name: str) -> None:
    index, abbe = CATALOGUE[name]
    assert index_of(name) == pytest.approx(index, abs=1.5e-5)
    assert glass_table()[name].abbe == pytest.approx(abbe, abs=0.15)


@pytest.mark.parametrize(
    ("wavelength", "index"),
    # Data sheet of the best known crown glass, lines i, h, g, F, e, C, r, t.
    [(365.01, 1.53627), (404.66, 1.53024), (435.83, 1.52668), (486.13, 1.52238), (546.07, 1.51872), (656.27, 1.51432),
     (706.52, 1.51289), (1013.98, 1.50731)],
)  # fmt: skip
def test_crown_glass_has_the_indices_of_its_data_sheet(wavelength: float, index: float) -> None:
    assert index_of("N-BK7", wavelength) == pytest.approx(index, abs=1e-5)


@pytest.mark.parametrize(("name", "index"), [("CAF2", 1.43385), ("SILICA", 1.45846)])
def test_crystals_have_the_indices_that_malitson_measured(name: str, index: float) -> None:
    """I. H. Malitson, Applied Optics 2, 1103 (1963) and J. Opt. Soc. Am. 55, 1205 (1965), at the d line."""
    assert index_of(name) == pytest.approx(index, abs=2e-5)


def test_table_is_of_useful_size_and_its_names_cannot_be_confused() -> None:
    table = glass_table()
    assert len(table) >= 100
    assert len({name.replace("-", "") for name in table}) == len(table)


@pytest.mark.parametrize("name", sorted(glass_table()))
def test_every_glass_disperses_normally_over_its_visible_range(name: str) -> None:
    glass = glass_table()[name]
    waves = np.linspace(max(glass.shortest, 400.0), min(glass.longest, 1000.0), 40)
    indices = [glass.index(float(wave)) for wave in waves]
    assert all(later < earlier for earlier, later in itertools.pairwise(indices))
    assert 1.4 < glass.index(D_LINE) < 2.1
    assert 15 < glass.abbe < 96


@pytest.mark.parametrize(("written", "known"), [("n-bk7", "N-BK7"), ("NBK7", "N-BK7"), ("S TIH53", "S-TIH53"), ("sf6", "SF6")])
def test_names_are_known_without_hyphens_and_in_any_case(written: str, known: str) -> None:
    assert known_glass(written) == known


@pytest.mark.parametrize(("name", "hint"), [("N-BK77", '"N-BK7"'), ("S-LAH5", '"S-LAH'), ("unobtainium", "correct it"), ("", "correct it")])
def test_an_unknown_glass_is_refused_with_what_to_do(name: str, hint: str) -> None:
    with pytest.raises(OpticsError) as refused:
        index_of(name)
    assert hint in str(refused.value)
    assert "give index and abbe" in str(refused.value)


# --- an index with an Abbe number -----------------------------------------------------------------------------


@given(st.floats(1.4, 2.1), st.floats(18.0, 95.0))
def test_dispersion_meets_its_three_conditions(index: float, abbe: float) -> None:
    """nd; nF - nC = (nd - 1) / Vd; ng - nF on the normal line, 0.6438 - 0.001682 Vd of it."""
    at = {line: index_of((index, abbe), line) for line in (D_LINE, F_LINE, C_LINE, G_LINE)}
    assert at[D_LINE] == index
    assert at[F_LINE] - at[C_LINE] == pytest.approx((index - 1) / abbe, rel=1e-9)
    assert at[G_LINE] - at[F_LINE] == pytest.approx((0.6438 - 0.001682 * abbe) * (index - 1) / abbe, rel=1e-9)


def test_dispersion_comes_close_to_the_glasses_of_the_table() -> None:
    """An independent check of the formula's shape: most glasses within 0.001 from 405 to 707 nm, all within 0.006."""
    worst = []
    for glass in glass_table().values():
        waves = np.linspace(max(404.7, glass.shortest), min(706.5, glass.longest), 30)
        worst.append(
            max(abs(index_of((glass.index(D_LINE), glass.abbe), float(w)) - glass.index(float(w))) for w in waves)
        )
    assert np.quantile(worst, 0.9) < 1e-3
    assert max(worst) < 6e-3


def test_an_index_alone_is_the_same_at_all_wavelengths() -> None:
    assert [index_of((1.62, None), wave) for wave in (400.0, D_LINE, 1000.0)] == [1.62] * 3
    assert index_of((None, None), 500.0) == 1.0
    assert index_of((1.0, 60.0), 450.0) == 1.0


@pytest.mark.parametrize("wavelength", [200.0, 364.0, 1061.0, 5000.0, float("nan"), float("inf"), 0.0, -587.0])
def test_a_wavelength_out_of_range_is_refused_in_words(wavelength: float) -> None:
    for medium in ((1.6, 40.0), "N-SF57"):
        if medium == "N-SF57" and 370.0 <= wavelength <= 2500.0:
            continue
        with pytest.raises(OpticsError) as refused:
            index_of(medium, wavelength)
        assert "nm is outside the" in str(refused.value)
        assert str(refused.value).endswith("choose one inside.")
    assert SHORTEST < D_LINE < LONGEST_WAVE
