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
from synthetic_camera import Barrel, Glass, Sensor, dusted, enlarged, exposed, light, write_jpeg, write_tiff


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
    columns: int = 128
    samples: int = 2000
    frames: int = 1
    dust: int = 2

    def glass(self) -> Glass:
        windows = [(self.depth, self.focal_length / (2 * self.f_number), 0.0, 0.0), (0.0, self.front, 0.0, 0.0)]
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
        front = Front(rim_diameter=2 * self.front + 8, clear_diameter=2 * self.front, clear_depth=0.0)
        return Lens(document="lens", version=1, name="Tansy", front=front, state=(state,))


def shoot(case: Case, folder: Path, rng: np.random.Generator, *, lean: float = 2.0, decentre: float = 1.0) -> list[TubePair]:
    """Frames of every tube, each leaning by `lean` degrees and off the axis by `decentre` mm, in directions of chance."""
    sensor = Sensor(columns=case.columns, rows=round(case.columns * 2 / 3), offset=(0.15, -0.1), dust=case.dust, full_well=4000.0, read_noise=3.0)
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
            write(f"bare-{number}", exposed(enlarged(dusted(bare, sensor, rng)), sensor, rng, frames=case.frames)),
            write(f"tube-{number}", exposed(enlarged(dusted(shaded, sensor, rng)), sensor, rng, gain=1 + rng.normal(0, 0.004), frames=case.frames)),
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


def drawn(case: Case, rng: np.random.Generator) -> tuple[Case, float, float]:
    """The case with its unknowns drawn as the fit believes them to lie, and how the tubes sit."""
    f = case.focal_length
    return (
        replace(case, depth=case.depth + rng.uniform(-4, 4), wander=rng.normal(0, 0.1 * f), stretch=1 + rng.normal(0, 0.01)),
        float(abs(rng.normal(0, 1.4))), float(abs(rng.normal(0, 1.0))),
    )  # fmt: skip
