"""Sets of synthetic frames of tubes on a lens, as a user would shoot them, and what is true of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from lenses import camera
from shadewright.measure.pairs import ratio_of_files
from shadewright.measure.pupil import PupilFit, TubePair, fit_pupil
from shadewright.model.lens import Front, Lens, State
from shadewright.model.shots import ShotSetting, Tube
from synthetic_camera import Barrel, Glass, Sensor, dusted, exposed, light, write_jpeg, write_tiff


@dataclass(frozen=True)
class Case:
    """A lens and the tubes shot on it; the true image distance is `focal_length` times `stretch`."""

    focal_length: float = 24.0
    f_number: float = 2.8
    depth: float = 26.0
    front: float = 30.0
    rear: tuple[float, float] | None = None
    wander: float = 0.0
    reach: float = 2.0
    diameter: float = 76.0
    lengths: tuple[float, ...] = (28.0, 46.0)
    stretch: float = 1.012
    subject: float = math.inf
    play: float = 0.0
    """How well the tubes are known, mm."""
    scale_known: float | None = 0.0015
    """How well a ruler told the field scale, as a share; None where none was used."""
    jpeg: bool = False
    columns: int = 384
    """Pixels: few, so that each stands for many of a real sensor, but with the noise of one."""
    samples: int = 200
    """Rays for each pixel of a half-shadow."""
    full_well: float = 8_000.0
    read_noise: float = 3.0
    frames: int = 1
    dust: int = 3
    axis: tuple[float, float] = (0.15, -0.1)
    front_read: tuple[float, float] = (0.0, 0.0)
    """Errors of the calipers: front glass's radius and depth, mm."""
    narrower: float = 0.0
    """How much smaller the pupil is than the f-number says, as a share."""

    @property
    def radius(self) -> float:
        """Of the true pupil, mm."""
        return (1 - self.narrower) * self.focal_length / (2 * self.f_number)

    def glass(self) -> Glass:
        windows = [(self.depth, self.radius, 0.0, 0.0), (1.0, self.front, 0.0, 0.0)]
        if self.rear is not None:
            windows.append((*self.rear, 0.0, 0.0))
        return Glass(
            tuple(windows), self.focal_length * self.stretch, reach=self.reach, wander=(self.wander, 0.0), subject=self.subject
        )

    def setting(self) -> ShotSetting:
        focus = "infinity" if math.isinf(self.subject) else self.subject
        return ShotSetting(focal_length=self.focal_length, f_number=self.f_number, focus_distance=focus, reach=self.reach)

    def lens(self) -> Lens:
        state = State(focal_length=self.focal_length, f_number=self.f_number, reach=self.reach)
        front = Front(rim_diameter=2 * self.front + 8, clear_diameter=2 * (self.front + self.front_read[0]), clear_depth=max(0.0, 1.0 + self.front_read[1]))
        return Lens(document="lens", version=1, name="Tansy", front=front, state=(state,))


def shoot(case: Case, folder: Path, rng: np.random.Generator, *, lean: float = 2.0, decentre: float = 1.0) -> list[TubePair]:
    """Frames of every tube, each leaning by `lean` degrees and off the axis by `decentre` mm, in directions of chance."""
    sensor = Sensor(
        columns=case.columns, rows=round(case.columns * 2 / 3), offset=case.axis, dust=case.dust, full_well=case.full_well, read_noise=case.read_noise
    )
    pairs = []
    for number, length in enumerate(case.lengths):
        first, second = rng.uniform(0, 2 * math.pi, 2)
        true_length, true_diameter = length + rng.normal(0, case.play), case.diameter + rng.normal(0, case.play)
        barrel = Barrel.tube(
            true_diameter, true_length, decentre=(decentre * math.cos(first), decentre * math.sin(first)),
            lean=(lean * math.cos(second), lean * math.sin(second)),
        )  # fmt: skip
        bare, shaded = light(case.glass(), sensor, barrel, samples=case.samples, seed=int(rng.integers(1 << 30)))
        write = (lambda name, a: write_jpeg(folder / f"{name}.jpg", a)) if case.jpeg else (lambda name, a: write_tiff(folder / f"{name}.tif", a))
        names = [
            write(f"bare-{number}", exposed(dusted(bare, sensor, rng), sensor, rng, frames=case.frames)),
            write(f"tube-{number}", exposed(dusted(shaded, sensor, rng), sensor, rng, gain=1 + rng.normal(0, 0.004), frames=case.frames)),
        ]
        tube = Tube(
            name=f"tube {number}", inner_diameter=case.diameter, length=length, inner_diameter_plus_minus=case.play,
            length_plus_minus=case.play,
        )  # fmt: skip
        pairs.append(TubePair(tube, ratio_of_files([names[0]], [names[1]])))
    return pairs


def measured(case: Case, folder: Path, seed: int, **sits: float) -> PupilFit:
    """Shoot a case and fit it."""
    rng = np.random.default_rng(seed)
    pairs = shoot(case, folder, rng, **sits)
    scale = None
    if case.scale_known is not None:
        true = case.focal_length * case.stretch
        scale = (true * (1 + rng.normal(0, case.scale_known)), true * case.scale_known)
    return fit_pupil(case.setting(), pairs, case.lens(), camera(), scale=scale)


def drawn(case: Case, rng: np.random.Generator) -> Case:
    """The case with everything that is unknown of a lens drawn as the fit believes it to lie."""
    f = case.focal_length
    return replace(
        case, depth=case.depth + rng.uniform(-4, 4), wander=rng.normal(0, 0.1 * f), stretch=1 + rng.normal(0, 0.01),
        axis=tuple(rng.normal(0, 0.3, 2)), front_read=tuple(rng.normal(0, 0.5, 2)), narrower=float(np.clip(rng.normal(0, 0.1), -0.2, 0.2)),
    )  # fmt: skip


def pull(case: Case, folder: Path, seed: int) -> tuple[float, float]:
    """How many standard errors depth and radius of the pupil are off, for one drawn set of frames with tubes leaning by 2
    degrees, 1 mm off the axis, in directions of chance.
    """
    own = drawn(case, np.random.default_rng(1000 + seed))
    fit = measured(own, folder, seed)
    return (fit.depth - own.depth) / fit.depth_error, (fit.radius - own.radius) / fit.solution.error("pupil_radius")
