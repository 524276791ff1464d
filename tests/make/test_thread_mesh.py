"""The thread as made: its diameters measured on the mesh, its hand, and that it enters a nut."""

from __future__ import annotations

import io

import numpy as np
import pytest
import trimesh
from solid_cases import RIMS, WALLS, cylindrical

from shadewright.make.helix import threaded_rod
from shadewright.make.meshfiles import stl_bytes
from shadewright.make.section import solid_of
from shadewright.make.solid import Solid, build_hood, fit_ring
from shadewright.make.thread import MadeProfile, basic_diameters, external_limits
from shadewright.model.hood import Build, SeatKind
from shadewright.model.lens import thread_size
from shadewright.model.shape import Array, RoundHood

LENGTH = 9.0


def threaded(thread: str, *, compensation: float = 0.1, segments: int = 180) -> Solid:
    """A hood on a tube with the given thread."""
    build = Build.model_validate(
        {"seat": "thread", "seat_length": LENGTH, "printer": {"thread_compensation": compensation}}
    )
    return build_hood(
        RoundHood(WALLS["wide tube"], RIMS["plain"]), build, seat_diameter=1.0, thread=thread, segments=segments
    )


def outline(solid: Solid, azimuth: float) -> Array:
    """The outer outline (n, 2) of z and radius, z ascending, in the half-plane at `azimuth` degrees."""
    body = solid_of(solid.vertices, solid.faces.astype(np.uint64))
    polygons = body.rotate((0.0, 0.0, -azimuth)).rotate((-90.0, 0.0, 0.0)).slice(0.0).to_polygons()
    corners = max((p for p in polygons if p[:, 0].mean() > 0.0), key=len)
    points = np.stack([corners[:, 1], corners[:, 0]], axis=1)
    order = np.argsort(points[:, 0], kind="stable")
    points = points[order]
    bore = points[:, 1].min()
    return points[points[:, 1] > bore + 0.5]


def tooth_share(line: Array, radius: float, low: float, high: float) -> float:
    """The share of the length from z = low to high over which the outline stands beyond `radius`."""
    z = np.linspace(low, high, 20_001)
    return float(np.mean(np.interp(z, line[:, 0], line[:, 1]) > radius))


@pytest.mark.parametrize("thread", ["M37x0.5", "M52x0.75", "M77x0.75", "M95x1", "M112x1.5"])
@pytest.mark.parametrize("compensation", [0.0, 0.1])
def test_measured_diameters_lie_within_6g_less_the_compensation(thread: str, compensation: float) -> None:
    diameter, pitch = thread_size(thread)
    limits = external_limits(diameter, pitch)
    solid = threaded(thread, compensation=compensation, segments=360)
    radius, _, z = cylindrical(solid.vertices)
    middle = (z < -2.0 * pitch) & (z > 2.0 * pitch - LENGTH)
    assert limits.major_min <= 2.0 * radius[middle].max() + compensation <= limits.major_max

    # Pitch diameter: where tooth and groove take equal shares of a whole number of pitches.
    line = outline(solid, 33.0)
    high = -2.5 * pitch
    low = high - pitch * int((LENGTH - 4.5 * pitch) / pitch)
    thin, thick = limits.pitch_min / 2.0 - 0.5 * pitch, limits.pitch_max / 2.0 + 0.3 * pitch
    for _ in range(30):
        guess = (thin + thick) / 2.0
        if tooth_share(line, guess, low, high) > 0.5:
            thin = guess
        else:
            thick = guess
    assert limits.pitch_min <= 2.0 * guess + compensation <= limits.pitch_max


def test_the_thread_in_a_file_is_right_handed() -> None:
    solid = threaded("M77x0.75")
    mesh = trimesh.load(io.BytesIO(stl_bytes(solid)), file_type="stl")
    radius, azimuth, z = cylindrical(np.asarray(mesh.vertices))
    middle = (z < -2.0) & (z > 2.0 - LENGTH)
    crest = middle & (radius > radius[middle].max() - 0.01)

    def spread(hand: float) -> float:
        """How evenly the crests are scattered once a helix of that hand is unwound; 0 where all fall together."""
        phase = 2.0 * np.pi * (z[crest] / 0.75 - hand * azimuth[crest] / 360.0)
        return 1.0 - float(np.abs(np.mean(np.exp(1j * phase))))

    # A right-handed helix climbs along +z while it turns from +x towards +y in right-handed coordinates.
    assert spread(1.0) < 0.1
    assert spread(-1.0) > 0.9


def test_the_made_thread_lies_inside_the_basic_profile() -> None:
    diameter, pitch = thread_size("M77x0.75")
    basic = basic_diameters(diameter, pitch)
    gauge = MadeProfile(
        pitch, basic.major / 2.0, basic.pitch / 2.0, basic.minor / 2.0, half_crest=pitch / 16.0, half_root=pitch / 8.0
    )
    rod = threaded_rod(gauge, bottom=-LENGTH - 1.0, top=1.0, segments=180)
    solid = threaded("M77x0.75", compensation=0.0)
    behind = solid_of(solid.vertices, solid.faces.astype(np.uint64)).trim_by_plane((0.0, 0.0, -1.0), 0.0)
    assert behind.volume() > 1000.0
    # What would stand out of the narrowest nut that is allowed: nothing but rounding.
    assert (behind - rod).volume() < 1e-3


def test_the_tube_under_the_thread_is_thick_enough_and_the_bore_wide() -> None:
    solid = threaded("M77x0.75", segments=360)
    line = outline(solid, 33.0)
    thread = line[(line[:, 0] < -2.0) & (line[:, 0] > 2.0 - LENGTH)]
    radius, _, z = cylindrical(solid.vertices)
    bore = radius[z < -0.5].min()
    assert 1.2 <= thread[:, 1].min() - bore < 1.3
    assert 2.0 * bore > 77.0 - 4.0


def test_a_threaded_fit_ring_has_the_same_thread() -> None:
    ring = fit_ring(Build(seat=SeatKind.THREAD), seat_diameter=1.0, thread="M77x0.75")
    hood = threaded("M77x0.75", segments=360)
    ring_radius, _, ring_z = cylindrical(ring.vertices)
    hood_radius, _, hood_z = cylindrical(hood.vertices)
    assert ring_radius[ring_z < -1.0].max() == pytest.approx(hood_radius[hood_z < -1.0].max(), abs=1e-3)
    assert ring_radius[ring_z < -1.0].min() == pytest.approx(hood_radius[hood_z < -1.0].min(), abs=1e-3)
