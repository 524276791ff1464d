"""The prescription document: what it allows, the shape of its surfaces, and the two invented lenses of the demonstration."""

from __future__ import annotations

import math
from importlib import resources
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bad_input_cases import PRESCRIPTION
from shadewright.errors import DocumentError
from shadewright.model.documents import document_from, parse_document
from shadewright.model.prescription import MOST_SURFACES, Prescription, Surface
from shadewright.model.prescription_text import prescription_toml
from shadewright.optics.paraxial import paraxial
from shadewright.optics.system import system_of
from shadewright.optics.trace import trace

FRONT = {"radius": 30.0, "thickness": 4.0, "index": 1.5, "semi_diameter": 10.0}
BACK = {"radius": -30.0, "thickness": 28.0, "semi_diameter": 10.0}
STOP = {"thickness": 2.0, "semi_diameter": 5.0, "stop": True}


def lens(*surfaces: dict[str, Any], **more: Any) -> Prescription:
    """A prescription of these surfaces."""
    tree = {"document": "prescription", "version": 1, "name": "any", "surface": [*surfaces], **more}
    return document_from(tree, Prescription, name="any")


# --- what is allowed ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "surfaces",
    [
        (STOP, FRONT, BACK),
        ({**FRONT, "stop": True}, BACK),
        (FRONT, {**BACK, "stop": True}),
        (FRONT, {**BACK, "thickness": 2.0}, {**STOP, "thickness": 26.0}),
        (FRONT, {k: v for k, v in BACK.items() if k != "thickness"} | {"stop": True}),
        ({**FRONT, "semi_diameter": 30.0}, {**BACK, "stop": True}),
        ({"curvature": 0.0, "thickness": 0.0, "index": 4.5}, {**BACK, "stop": True}),
        ({**FRONT, "conic": -1.0, "aspheric": [1e-6] + [0.0] * 7}, {**BACK, "stop": True}),
    ],
    ids=["stop-first", "stop-on-front", "stop-on-back", "stop-last", "image-in-focus", "hemisphere", "plane", "asphere"],
)
def test_usual_lenses_are_allowed(surfaces: tuple[dict[str, Any], ...]) -> None:
    assert len(lens(*surfaces).surface) == len(surfaces)


def test_a_stop_may_stand_inside_the_hollow_of_a_surface() -> None:
    """A flat stop level with the hollow of the surface behind it, or within the sag of the one ahead: a step back."""
    behind = lens(FRONT, {**BACK, "thickness": 1.0}, {**STOP, "thickness": -0.5}, {**FRONT, "radius": -40.0}, BACK)
    ahead = lens(FRONT, {**BACK, "thickness": -0.5}, {**STOP, "thickness": 1.0}, FRONT, BACK)
    assert behind.surface[2].thickness == ahead.surface[1].thickness == -0.5
    with pytest.raises(DocumentError, match="mirrors are not traced"):
        lens(FRONT, {**BACK, "thickness": 0.4}, {**STOP, "thickness": -0.5}, FRONT, BACK)
    with pytest.raises(DocumentError, match="from surface 1 to surface 2"):
        lens({**STOP, "thickness": -0.5}, FRONT, BACK)


def test_the_most_surfaces_and_settings_are_allowed() -> None:
    many = [dict(FRONT), {**BACK, "thickness": 1.0}] * ((MOST_SURFACES - 2) // 2)
    settings = [{"name": f"at {k}", "thickness": {"1": 4.0 + k / 100}} for k in range(200)]
    full = lens({**STOP, "thickness": 1.0}, *many, BACK, setting=settings)
    assert (len(full.surface), len(full.setting)) == (MOST_SURFACES, 200)


def test_a_thickness_that_every_setting_gives_may_be_left_out() -> None:
    bare = {k: v for k, v in BACK.items() if k != "thickness"}
    zoom = lens(FRONT, bare, STOP, FRONT, BACK, setting=[{"name": "a", "thickness": {"2": 1.0}}, {"name": "b", "thickness": {"2": 9.0}}])
    assert [system_of(zoom, name).thickness[1] for name in ("a", "b")] == [1.0, 9.0]


# --- the shape of a surface -----------------------------------------------------------------------------------


@given(st.floats(5.0, 1e5), st.sampled_from([1.0, -1.0]), st.floats(0.0, 1.0))
def test_sag_of_a_sphere_is_that_of_a_circle(radius: float, sign: float, share: float) -> None:
    surface, r = Surface(radius=sign * radius), share * radius
    assert (surface.sag(r) - sign * radius) ** 2 + r * r == pytest.approx(radius**2, rel=1e-9)


@given(st.floats(5.0, 1e4), st.floats(0.0, 100.0))
def test_sag_of_a_paraboloid_is_half_the_square_over_the_radius(radius: float, r: float) -> None:
    assert Surface(radius=radius, conic=-1.0).sag(r) == pytest.approx(r * r / (2 * radius), rel=1e-12)
    assert Surface(curvature=-1 / radius, conic=-1.0).sag(r) == pytest.approx(-r * r / (2 * radius), rel=1e-12)


@given(st.floats(20.0, 200.0), st.floats(-3.0, 0.9), st.floats(0.1, 10.0))
def test_sag_of_a_conic_meets_the_equation_of_its_section(radius: float, conic: float, r: float) -> None:
    """r² = 2 R z - (1 + k) z², the conic through its vertex."""
    z = Surface(radius=radius, conic=conic).sag(r)
    assert 2 * radius * z - (1 + conic) * z * z == pytest.approx(r * r, rel=1e-9)


def test_sag_adds_the_even_powers_and_ends_with_the_surface() -> None:
    surface = Surface(aspheric=(1e-4, -2e-6, 3e-8))
    assert surface.sag(3.0) == pytest.approx(1e-4 * 3**4 - 2e-6 * 3**6 + 3e-8 * 3**8, rel=1e-12)
    assert math.isnan(Surface(radius=10.0).sag(10.001))
    assert Surface(radius=10.0).sag(10.0) == pytest.approx(10.0)
    assert Surface(radius=0.0).is_flat
    assert Surface(radius=0.0).vertex_curvature == 0.0


# --- written as text ------------------------------------------------------------------------------------------


def test_every_field_survives_being_written_one_surface_a_line() -> None:
    full = parse_document(PRESCRIPTION, Prescription)
    text = prescription_toml(full)
    assert parse_document(text, Prescription) == full
    assert sum(line.startswith("  {") for line in text.splitlines()) == len(full.surface)


@given(st.text(max_size=40), st.floats(1e-7, 1e7, allow_subnormal=False))
def test_any_text_and_all_digits_survive(notes: str, radius: float) -> None:
    written = lens({**FRONT, "radius": max(radius, 11.0)}, {**BACK, "stop": True}, notes=notes.encode("utf-8", "replace").decode())
    assert parse_document(prescription_toml(written), Prescription) == written


# --- the demonstration's lenses -------------------------------------------------------------------------------

FRAME_CORNER = math.hypot(18.0, 12.0)
DEMO = {
    "prime": [("infinity", 35.0, 2.0)],
    "zoom": [("wide", 29.0, 3.5), ("middle", 45.0, 4.0), ("long", 69.0, 4.6)],
}
POSITIONS = [(name, *position) for name, positions in DEMO.items() for position in positions]


def demo(name: str) -> Prescription:
    """A prescription of the demonstration."""
    text = resources.files("shadewright").joinpath(f"demo/{name}-prescription.toml").read_text("utf-8")
    return parse_document(text, Prescription)


@pytest.mark.parametrize(("name", "setting", "focal_length", "f_number"), POSITIONS)
def test_a_lens_of_the_demonstration_is_what_it_is_called(name: str, setting: str, focal_length: float, f_number: float) -> None:
    first_order = paraxial(system_of(demo(name), setting))
    assert first_order.focal_length == pytest.approx(focal_length, rel=0.01)
    assert first_order.f_number == pytest.approx(f_number, rel=0.01)
    assert first_order.back_focus > 20.0, "no room for a shutter"


@pytest.mark.parametrize("share", [0.0, 0.5, 0.75, 1.0])
@pytest.mark.parametrize(("name", "setting", "focal_length", "f_number"), POSITIONS)
def test_a_lens_of_the_demonstration_makes_a_decent_picture(
    name: str, setting: str, focal_length: float, f_number: float, share: float
) -> None:
    """Three colours, every ray that the glasses pass: a spot of less than 0.1 mm rms, to the corner of 36 x 24 mm."""
    slope = share * FRAME_CORNER / paraxial(system_of(demo(name), setting)).focal_length
    landed = []
    for wavelength in (486.13, 587.56, 656.27):
        system = system_of(demo(name), setting, wavelength=wavelength)
        across = np.linspace(-1.1, 1.1, 41) * system.semi[0]
        x, y = (grid.ravel() for grid in np.meshgrid(across, across))
        direction = np.array([0.0, slope, 1.0]) / math.hypot(slope, 1.0)
        origins = np.column_stack([x, y, np.zeros_like(x)]) - 30.0 * direction / direction[2]
        rays = trace(system, origins, np.tile(direction, (len(x), 1)))
        landed.append(rays.points[rays.arrived, :2])
    spot = np.concatenate(landed)
    assert len(spot) > 60
    assert math.sqrt(((spot - spot.mean(axis=0)) ** 2).sum(axis=1).mean()) < 0.1
    # Distortion no worse than a wide lens of the trade has.
    assert spot.mean(axis=0)[1] == pytest.approx(share * FRAME_CORNER, rel=0.06, abs=0.01)
