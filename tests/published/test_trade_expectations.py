"""What people who make and use hoods expect of them, on invented but plausible lenses.

Every expectation here is common practice, no source. Where one is a matter of degree ("roughly", "much", "little") the
figure it is held to is a choice made here, near what these lenses give, and said to be one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from lenses import NO_PLAY, camera, hood
from shadewright.clearance.keepout import keep_out
from shadewright.design.fit import Fitting, fit
from shadewright.light.share import gain_stops, light_map
from shadewright.model.camera import Camera, Orientation
from shadewright.model.hood import RimShape, Symmetry
from shadewright.model.lens import Front, Lens, Seat, SeatPlace, State
from shadewright.model.shape import Rim, RoundHood
from shadewright.optics.beam import job

Array = NDArray[np.float64]

LONGEST = 1000.0
"""Largest length asked for, mm: no hood here is cut short by it."""
CELLS = 61
"""Cells across the sky; let-in shares are then good to about 1e-3."""


@dataclass(frozen=True)
class Prime:
    """An invented prime: depth of its pupil behind the front rim, glass and outside of the front rim, mm."""

    focal_length: float
    f_number: float
    pupil_depth: float
    glass: float
    rim: float

    @property
    def corner(self) -> float:
        """Slope of the corner of 36 x 24."""
        return math.hypot(18.0, 12.0) / self.focal_length

    def lens(self, *, f_number: float | None = None) -> Lens:
        """Its document; the hood sits on the front."""
        state = State(
            focal_length=self.focal_length, f_number=f_number or self.f_number, reach=0.0, pupil_depth=self.pupil_depth
        )
        return Lens(
            document="lens", version=1, name=f"Sorrel {self.focal_length:g}",
            front=Front(rim_diameter=self.rim, clear_diameter=self.glass, clear_depth=0.0),
            seat=Seat(on=SeatPlace.FRONT, diameter=self.rim), state=(state,),
        )  # fmt: skip


PRIMES = [
    Prime(14.0, 2.8, 18.0, 66.0, 80.0), Prime(20.0, 1.8, 24.0, 64.0, 74.0), Prime(24.0, 1.4, 28.0, 66.0, 77.0),
    Prime(35.0, 1.4, 30.0, 54.0, 67.0), Prime(50.0, 1.4, 28.0, 50.0, 64.0), Prime(70.0, 2.8, 40.0, 50.0, 62.0),
    Prime(85.0, 1.4, 45.0, 68.0, 77.0), Prime(135.0, 2.0, 60.0, 74.0, 82.0), Prime(200.0, 2.8, 90.0, 78.0, 86.0),
    Prime(300.0, 2.8, 130.0, 112.0, 120.0), Prime(400.0, 2.8, 170.0, 148.0, 158.0),
]  # fmt: skip
SHORT = [prime for prime in PRIMES if prime.focal_length <= 35]
LONG = [prime for prime in PRIMES if prime.focal_length >= 85]
each_prime = pytest.mark.parametrize("prime", PRIMES, ids=lambda prime: f"{prime.focal_length:g} mm")


def fitted(lens: Lens, shape: RimShape, *, body: Camera | None = None, symmetry: Symmetry = Symmetry.FRAME) -> Fitting:
    """A hood of a shape without play or a limit to its length."""
    return fit(lens, body or camera(), hood(shape, largest_length=LONGEST, symmetry=symmetry))


def let_in(fitting: Fitting, setting: int = 0) -> float:
    """Share of the light from outside the frame that the fitted hood lets in at one listed setting."""
    beam = fitting.job.beam(fitting.job.resolved.settings[setting])
    return light_map(beam, fitting.shape, cells=CELLS).let_in


def rim_of(fitting: Fitting) -> Rim:
    """The made rim."""
    assert isinstance(fitting.shape, RoundHood)
    return fitting.shape.rim


@each_prime
def test_the_lenses_are_plausible(prime: Prime) -> None:
    """The corner's chief ray passes the front glass (else stopping down would blacken the corner), the glass holds the
    pupil on the axis, and the pupil lies no deeper than in published designs: 1.6 focal lengths, 4 from 45 degrees on.
    """
    assert prime.pupil_depth * prime.corner < prime.glass / 2 < prime.rim / 2
    assert prime.focal_length / (2 * prime.f_number) < prime.glass / 2
    assert prime.pupil_depth <= (4.0 if prime.corner >= 1 else 1.6) * prime.focal_length


# ---- short lenses gain more --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shares() -> dict[float, tuple[float, float]]:
    """Let-in share of the plain and of the petal hood, by focal length."""
    found = {}
    for prime in PRIMES:
        plain, petal = (let_in(fitted(prime.lens(), shape)) for shape in (RimShape.PLAIN, RimShape.PETAL))
        found[prime.focal_length] = (plain, petal)
    return found


def test_petals_always_gain(shares: dict[float, tuple[float, float]]) -> None:
    """Where length is free a petal hood never lets in more than a plain one on the same wall."""
    for plain, petal in shares.values():
        assert petal < plain < 1.0


def test_short_lenses_gain_much_from_petals_and_long_ones_little(shares: dict[float, tuple[float, float]]) -> None:
    """What petals keep out beyond a plain hood, as a share of all the light from outside the frame: every lens up to
    35 mm gains at least twice what any lens from 85 mm on does, and more in stops too; long ones gain at most a
    twentieth (our figures).
    """
    share_gain = {f: plain - petal for f, (plain, petal) in shares.items()}
    stop_gain = {f: gain_stops(petal, plain) for f, (plain, petal) in shares.items()}
    short, long = [p.focal_length for p in SHORT], [p.focal_length for p in LONG]
    assert min(share_gain[f] for f in short) > 2 * max(share_gain[f] for f in long)
    assert min(stop_gain[f] for f in short) > max(stop_gain[f] for f in long)
    assert max(share_gain[f] for f in long) < 0.05
    assert min(share_gain[f] for f in (14.0, 20.0, 24.0)) > 0.2


def test_gain_falls_with_focal_length_on_one_barrel() -> None:
    """The same barrel and f-number, the focal length alone changing: the shorter, the more petals gain."""
    gains = []
    for focal_length in (20.0, 28.0, 40.0, 56.0, 80.0, 112.0):
        prime = Prime(focal_length, 2.8, 24.0 * focal_length**0.5 / 20.0**0.5, 70.0, 80.0)
        assert prime.pupil_depth * prime.corner < prime.glass / 2
        plain, petal = (let_in(fitted(prime.lens(), shape)) for shape in (RimShape.PLAIN, RimShape.PETAL))
        gains.append(plain - petal)
    assert gains == sorted(gains, reverse=True)


# ---- where the lobes are -----------------------------------------------------------------------------


@each_prime
@pytest.mark.parametrize("shape", [RimShape.DEEPEST, RimShape.PETAL])
def test_top_and_bottom_longest_sides_shorter_diagonals_least(prime: Prime, shape: RimShape) -> None:
    """On 36 x 24: top and bottom alike and longest, left and right alike and shorter, the four diagonals least."""
    rim = rim_of(fitted(prime.lens(), shape))
    right, top, left, bottom = rim.z_at(np.array([0.0, 90.0, 180.0, 270.0]))
    assert (left, bottom) == pytest.approx((right, top), abs=2e-4)
    diagonal = math.degrees(math.atan2(12, 18))
    corners = rim.z_at(np.array([diagonal, 180 - diagonal, 180 + diagonal, 360 - diagonal]))
    assert top > right + 1.0 > float(corners.max()) + 1.5
    around = np.arange(0.0, 360.0, 0.5)
    z = rim.z_at(around)
    assert float(z.max()) == pytest.approx(top, abs=1e-3)
    least = float(around[int(np.argmin(z))]) % 180.0
    off = min(abs(least - diagonal), abs(least - (180 - diagonal)))
    # The deepest rim is cut back most at the frame's diagonal. A rounded valley may lie a little to its side, and dip a
    # little below that place, for the sake of the steeper lobe beside it.
    assert off <= (1.0 if shape is RimShape.DEEPEST else 15.0)
    assert float(z.min()) > float(corners.min()) - (0.01 if shape is RimShape.DEEPEST else 1.0)


@pytest.mark.parametrize("shape", [RimShape.DEEPEST, RimShape.PETAL])
@pytest.mark.parametrize("prime", [PRIMES[1], PRIMES[4], PRIMES[8]], ids=lambda prime: f"{prime.focal_length:g} mm")
def test_square_frame_has_four_equal_lobes(prime: Prime, shape: RimShape) -> None:
    rim = rim_of(fitted(prime.lens(), shape, body=camera(24.0, 24.0), symmetry=Symmetry.QUARTER_TURN))
    around = np.arange(0.0, 360.0, 0.5)
    z = rim.z_at(around)
    for quarter in (90.0, 180.0, 270.0):
        assert rim.z_at(around + quarter) == pytest.approx(z, abs=3e-4)
    sides, corners = rim.z_at(np.arange(0.0, 360.0, 90.0)), rim.z_at(np.arange(45.0, 360.0, 90.0))
    assert float(sides.min()) > float(corners.max()) + 1.0
    assert float(z.min()) > float(corners.max()) - 1e-3


@pytest.mark.parametrize("prime", [PRIMES[0], PRIMES[3], PRIMES[9]], ids=lambda prime: f"{prime.focal_length:g} mm")
@pytest.mark.parametrize("shape", [RimShape.DEEPEST, RimShape.PETAL, RimShape.PLAIN])
def test_turning_the_frame_turns_the_hood(prime: Prime, shape: RimShape) -> None:
    """A portrait frame, asked for either way, gets the landscape frame's hood turned by 90 degrees."""
    around = np.arange(0.0, 360.0, 0.5)
    across = rim_of(fitted(prime.lens(), shape)).z_at(around)
    for body in (camera(24.0, 36.0), camera(orientation=Orientation.PORTRAIT)):
        upright = rim_of(fitted(prime.lens(), shape, body=body)).z_at(around + 90.0)
        assert upright == pytest.approx(across, abs=3e-4)


@pytest.mark.parametrize("prime", [PRIMES[2], PRIMES[6]], ids=lambda prime: f"{prime.focal_length:g} mm")
def test_hood_that_stays_while_the_frame_turns_has_the_lesser_of_both(prime: Prime) -> None:
    around = np.arange(0.0, 360.0, 0.5)
    both = rim_of(fitted(prime.lens(), RimShape.DEEPEST, body=camera(orientation=Orientation.BOTH))).z_at(around)
    across = rim_of(fitted(prime.lens(), RimShape.DEEPEST)).z_at(around)
    assert both == pytest.approx(np.minimum(across, np.roll(across, 180)), abs=3e-4)


# ---- the opening as the pupil sees it ---------------------------------------------------------------


def opening(fitting: Fitting) -> Array:
    """The rim seen from the middle of the pupil, (n, 2) slopes."""
    assert isinstance(fitting.shape, RoundHood)
    points = fitting.shape.rim_points()
    return np.asarray(points[:, :2] / (points[:, 2:] + fitting.job.resolved.settings[0].pupil_depth))


def fill_and_aspect(outline: Array) -> tuple[float, float]:
    """How much of its upright bounding rectangle an outline fills, and the rectangle's width over height.

    A rectangle fills 1, an ellipse π/4 = 0.785.
    """
    x, y = outline.T
    area = 0.5 * abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))
    return area / float(np.ptp(x) * np.ptp(y)), float(np.ptp(x) / np.ptp(y))


@each_prime
def test_opening_of_a_petal_hood_is_roughly_rectangular(prime: Prime) -> None:
    """It lies between a circle and the frame's rectangle, nearer to the rectangle the shorter the lens.

    Figures: the shortest three fill 0.9 of their bounding rectangle or more, 1.35 times as wide as high or more; the
    widest pupils behind the longest lenses still fill 0.84 and are 1.07 times as wide as high. A plain hood fills 0.785.
    """
    plain, petal, deepest = (
        fill_and_aspect(opening(fitted(prime.lens(), shape)))
        for shape in (RimShape.PLAIN, RimShape.PETAL, RimShape.DEEPEST)
    )
    assert plain == pytest.approx((math.pi / 4, 1.0), abs=1e-3)
    least_fill, least_aspect = (0.9, 1.35) if prime.focal_length <= 24 else (0.84, 1.07)
    for fill, aspect in (petal, deepest):
        assert least_fill < fill < 1.0
        assert least_aspect < aspect < 1.5


@pytest.mark.parametrize(
    "prime", [PRIMES[1], PRIMES[3], PRIMES[5], PRIMES[8]], ids=lambda prime: f"{prime.focal_length:g} mm"
)
def test_opening_becomes_the_frame_as_the_pupil_closes(prime: Prime) -> None:
    """The smaller the pupil, the nearer the deepest rim's opening is to the frame's rectangle of 3:2, until at a pinhole
    it is that rectangle.
    """
    stopped = [
        fill_and_aspect(opening(fitted(prime.lens(f_number=n), RimShape.DEEPEST))) for n in (4.0, 11.0, 32.0, 128.0)
    ]
    fills, aspects = [fill for fill, _ in stopped], [aspect for _, aspect in stopped]
    assert fills == sorted(fills)
    assert aspects == sorted(aspects)
    assert fills[-1] > 0.98
    assert aspects[-1] == pytest.approx(1.5, abs=0.05)
    # The pinhole's opening holds the frame and no more than a little beyond it.
    outline = opening(fitted(prime.lens(f_number=128.0), RimShape.DEEPEST))
    beyond = np.max(np.abs(outline) / np.array([18.0, 12.0]) * prime.focal_length, axis=1)
    assert float(beyond.min()) >= 1.0
    pupil = prime.focal_length / 256.0
    assert float(beyond.max()) < 1.0 + 2 * pupil * prime.focal_length / 12.0 / prime.pupil_depth


# ---- plain hoods ---------------------------------------------------------------------------------------


@each_prime
def test_plain_hood_is_stopped_by_the_corners(prime: Prime) -> None:
    """Where the deepest rim is least a corner of the frame binds, that least is the plain hood's depth, and the same hood
    could have been deeper at the sides and deeper still at the top.
    """
    fitting = fitted(prime.lens(), RimShape.PLAIN)
    index = int(np.argmin(fitting.deepest))
    assert "corner" in fitting.binding(index)
    slope = fitting.entries.slope[index] * prime.focal_length
    assert np.abs(slope) == pytest.approx((18.0, 12.0), abs=1e-6)
    depth = rim_of(fitting).deepest
    assert depth <= float(fitting.deepest.min()) + 1e-9
    assert depth == pytest.approx(float(fitting.deepest.min()), abs=0.05)
    assert fitting.deepest[90] > 1.1 * fitting.deepest[0] > 1.2 * depth


@each_prime
def test_sides_and_top_bind_at_their_own_edges(prime: Prime) -> None:
    """Straight above the axis the frame's top edge binds, beside it the right edge."""
    fitting = fitted(prime.lens(), RimShape.DEEPEST)
    for azimuth, word in ((0, "right edge"), (90, "top edge"), (180, "left edge"), (270, "bottom edge")):
        assert word in fitting.binding(azimuth)


# ---- zooms -----------------------------------------------------------------------------------------------

PUPILS = {24.0: 30.0, 35.0: 36.0, 50.0: 46.0, 70.0: 58.0}
"""Pupil depth in mm at each focal length of an invented 24-70 f/2.8."""
STILL = dict.fromkeys(PUPILS, 0.0)
OUT_WHEN_WIDE = {24.0: 32.0, 35.0: 17.0, 50.0: 6.0, 70.0: 0.0}
OUT_WHEN_LONG = {24.0: 0.0, 35.0: 6.0, 50.0: 17.0, 70.0: 32.0}
WIDE_END, LONG_END = 0, 3


def zoom(reach: dict[float, float], seat: SeatPlace, *, only: float | None = None) -> Lens:
    """The zoom with its front standing `reach` mm ahead of the seat; one focal length alone where asked for."""
    states = tuple(
        State(focal_length=f, f_number=2.8, reach=reach[f], pupil_depth=depth)
        for f, depth in PUPILS.items()
        if only in (None, f)
    )
    return Lens(
        document="lens", version=1, name="Tarn 24-70", front=Front(rim_diameter=78.0, clear_diameter=68.0, clear_depth=0.0),
        seat=Seat(on=seat, diameter=82.0), state=states,
    )  # fmt: skip


def binding_focal_lengths(fitting: Fitting) -> list[float]:
    """Focal length of the setting that binds the deepest rim at each azimuth."""
    assert np.all(fitting.entries.state >= 0)
    return [fitting.keepout.beams[fitting.keepout.source[s]].setting.focal_length for s in fitting.entries.state]


@pytest.mark.parametrize("reach", [STILL, OUT_WHEN_LONG], ids=["front stands still", "front out at the long end"])
def test_zoom_is_set_by_its_widest_setting(reach: dict[float, float]) -> None:
    """All round, whichever way the hood sits: it is the wide end's own hood, and shades the long end poorly."""
    for seat in (SeatPlace.BARREL, SeatPlace.FRONT):
        # A hood on the front travels with it.
        moves = STILL if seat is SeatPlace.FRONT else reach
        whole = fitted(zoom(moves, seat), RimShape.PETAL)
        assert binding_focal_lengths(whole) == pytest.approx([24.0] * 360)
        wide_alone = fitted(zoom(moves, seat, only=24.0), RimShape.PETAL)
        assert whole.deepest == pytest.approx(wide_alone.deepest, abs=1e-6)
        long_alone = let_in(fitted(zoom(moves, seat, only=70.0), RimShape.PETAL))
        assert let_in(whole, LONG_END) > 1.5 * long_alone


def test_front_that_reaches_out_at_the_wide_end_makes_the_hood_deep_enough_for_the_long_end() -> None:
    """Inside a hood fixed to the barrel: the wide end no longer binds all round, the long end binds somewhere, and the
    long end is shaded nearly as its own hood would (within a tenth more light, our figure), at the wide end's cost.
    """
    out = fitted(zoom(OUT_WHEN_WIDE, SeatPlace.BARREL), RimShape.PETAL)
    still = fitted(zoom(STILL, SeatPlace.BARREL), RimShape.PETAL)
    binding = binding_focal_lengths(out)
    assert min(binding) < 30.0
    assert max(binding) == pytest.approx(70.0)
    assert float(np.min(out.deepest - still.deepest)) > 15.0
    long_alone = let_in(fitted(zoom(OUT_WHEN_WIDE, SeatPlace.BARREL, only=70.0), RimShape.PETAL))
    assert long_alone <= let_in(out, LONG_END) + 1e-3
    assert let_in(out, LONG_END) < 1.1 * long_alone
    assert let_in(out, LONG_END) < 0.6 * let_in(still, LONG_END)
    assert let_in(out, WIDE_END) > let_in(still, WIDE_END)


def test_the_same_zoom_with_the_hood_on_its_front_is_set_by_the_wide_end_again() -> None:
    on_front = fitted(zoom(STILL, SeatPlace.FRONT), RimShape.PETAL)
    on_barrel = fitted(zoom(STILL, SeatPlace.BARREL), RimShape.PETAL)
    assert binding_focal_lengths(on_front) == pytest.approx([24.0] * 360)
    assert on_front.deepest == pytest.approx(on_barrel.deepest, abs=1e-6)


def test_zoom_hood_is_clear_of_every_setting_alone() -> None:
    """No setting's own deepest rim lies below the zoom's."""
    whole = fitted(zoom(OUT_WHEN_WIDE, SeatPlace.BARREL), RimShape.DEEPEST)
    assert isinstance(whole.shape, RoundHood)
    around = np.arange(0.0, 360.0, 1.0)
    for f in PUPILS:
        work = job(zoom(OUT_WHEN_WIDE, SeatPlace.BARREL, only=f), camera())
        alone = keep_out(work.beams(work.resolved.settings), margin=NO_PLAY)
        limit = alone.rim(whole.shape.wall, around, cap=LONGEST).value
        assert np.all(whole.shape.rim.z_at(around) <= limit + 1e-6)
