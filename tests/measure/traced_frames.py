"""Lenses known by their prescriptions, photographed with tubes on them: their beams found ray by ray in another tracer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources
from pathlib import Path

import numpy as np

from prescription_cases import Field, Other, lens_of, state_of
from shadewright.model.documents import read_document
from shadewright.model.lens import Front, Lens, Mapping, Projection, Seat, SeatPlace, State
from shadewright.model.prescription import Prescription
from shadewright.model.shots import Tube
from shadewright.model.writing import to_toml
from shadewright.optics.system import setting_names
from shadewright.optics.traced import TracedState
from synthetic_camera import Barrel, Sensor, TracedGlass, dusted, exposed, traced_light, write_tiff

REACH = 6.0
"""Of the front vertex ahead of the seat plane, mm: the plane that depths are counted from."""
HEIGHT = math.hypot(18.0, 12.0)
ACROSS = 36
"""Rays across the pupil."""
SLOPES = 41


@dataclass(frozen=True)
class Traced:
    """A demonstration prescription at one of its settings, as it is marked, and the tubes that are shot on it."""

    document: str
    setting: int
    focal_length: float
    f_number: float
    rim_diameter: float
    tube_diameter: float
    lengths: tuple[float, ...]

    @cached_property
    def prescription(self) -> Prescription:
        return read_document(Path(str(resources.files("shadewright.demo") / f"{self.document}.toml")), Prescription)

    @cached_property
    def state(self) -> TracedState:
        return state_of(self.prescription, HEIGHT, self.setting)

    @cached_property
    def other(self) -> Other:
        return Other(self.state.main)

    @cached_property
    def steepest(self) -> float:
        return 1.02 * HEIGHT / self.state.first.focal_length

    @cached_property
    def field(self) -> Field:
        """Field slopes by image height, by the other tracer."""
        reach = self.steepest * 1.03
        while True:
            found = Field(self.other, reach)
            if found.highest > 1.002 * HEIGHT:
                return found
            reach *= 1.03

    @cached_property
    def glass(self) -> TracedGlass:
        """The rays that pass, by the other tracer."""
        step = 2 * self.state.first.entrance_radius / ACROSS
        half = (np.arange(1.5 * ACROSS) - 0.75 * ACROSS + 0.5) * step
        q = np.stack(np.meshgrid(half, half), axis=-1).reshape(-1, 2)
        slopes = np.linspace(0.0, float(self.field.law(1.002 * HEIGHT)), SLOPES)
        moved = [q + np.array([self.pupil_depth * tau, 0.0]) for tau in slopes]
        masks = np.array([self.other.passes(at, 0.0, np.tile([tau, 0.0], (len(q), 1))).reshape(len(half), -1) for tau, at in zip(slopes, moved, strict=True)])
        heights = np.linspace(0.0, self.field.highest, 4000)
        return TracedGlass(np.interp(slopes, self.field.law(heights), heights), slopes, step, masks, depth=self.pupil_depth, reach=REACH)

    @cached_property
    def distortion(self) -> Mapping:
        """The lens's distortion as a test chart gives it: two coefficients."""
        height = np.linspace(1.0, HEIGHT, 60)
        slope = self.field.law(height)
        c = np.linalg.lstsq(np.stack([slope, slope**3, slope**5], axis=1), height, rcond=None)[0]
        return Mapping(kind=Projection.MEASURED, coefficients=(round(float(c[1] / c[0]), 4), round(float(c[2] / c[0]), 4)))

    @property
    def pupil_depth(self) -> float:
        """Of the paraxial pupil behind the front vertex, mm."""
        return self.state.first.entrance_pupil

    def chief_depth(self, slope: float) -> float:
        """Where the ray through the middle of the stop, of a field slope, meets the axis: mm behind the front vertex."""
        return self.other.chief(slope) / slope

    def tubes(self) -> tuple[Tube, ...]:
        return tuple(Tube(name=f"{length:g} mm", inner_diameter=self.tube_diameter, length=length) for length in self.lengths)

    def unknown_lens(self) -> Lens:
        """What its owner knows of the lens: the marked numbers, what calipers tell of the front, and its distortion."""
        system = self.state.main
        radius, semi = 1.0 / float(system.curvature[0]), float(system.semi[0])
        sag = radius - math.sqrt(radius**2 - semi**2)
        return Lens(
            document="lens", version=1, name="Rowan on the bench",
            front=Front(rim_diameter=self.rim_diameter, clear_diameter=2 * semi, clear_depth=round(sag, 2)),
            seat=Seat(on=SeatPlace.BARREL, diameter=self.rim_diameter), projection=self.distortion,
            state=(State(focal_length=self.focal_length, f_number=self.f_number, reach=REACH),),
        )  # fmt: skip

    def known_lens(self) -> Lens:
        """The same lens by its prescription, at this setting alone."""
        lens = lens_of(self.prescription, reach=REACH)
        name = setting_names(self.prescription)[self.setting]
        return lens.model_copy(update={
            "front": Front(rim_diameter=self.rim_diameter), "seat": Seat(on=SeatPlace.BARREL, diameter=self.rim_diameter),
            "placement": tuple(place for place in lens.placement if place.setting == name),
        })  # fmt: skip

    def photograph(self, folder: Path, seed: int, *, columns: int = 384) -> str:
        """Write frames of every tube, cut and seated as people do, and the shots document that lists them; its text."""
        rng = np.random.default_rng(seed)
        sensor = Sensor(columns=columns, rows=columns * 2 // 3, dust=3, full_well=20_000.0, read_noise=3.0)
        text = ['document = "shots"', "version = 1", 'name = "An evening"']
        shots = []
        for number, tube in enumerate(self.tubes()):
            first, second = rng.uniform(0, 2 * math.pi, 2)
            barrel = Barrel.tube(
                tube.inner_diameter + rng.normal(0, tube.inner_diameter_plus_minus), tube.length + rng.normal(0, tube.length_plus_minus),
                decentre=(math.cos(first), math.sin(first)), lean=(2 * math.cos(second), 2 * math.sin(second)),
            )  # fmt: skip
            bare, shaded = traced_light(self.glass, sensor, barrel, seed=number)
            for name, light, gain in ((f"bare-{number}", bare, 1.0), (f"tube-{number}", shaded, 1 + rng.normal(0, 0.004))):
                write_tiff(folder / f"{name}.tif", exposed(dusted(light, sensor, rng), sensor, rng, gain=gain, frames=4))
            text += [
                "[[tube]]", f'name = "{tube.name}"', f"inner_diameter = {tube.inner_diameter}", f"length = {tube.length}",
                f"inner_diameter_plus_minus = {tube.inner_diameter_plus_minus}", f"length_plus_minus = {tube.length_plus_minus}",
            ]  # fmt: skip
            shots += ["[[setting.with_tube]]", f'tube = "{tube.name}"', f'frames = ["tube-{number}.tif"]', f'bare = ["bare-{number}.tif"]']
        text += ["[[setting]]", f"focal_length = {self.focal_length}", f"f_number = {self.f_number}", f"reach = {REACH}", *shots]
        text += ["[[ruler]]", f"focal_length = {self.focal_length}", "width_plus_minus = 1.0", "view = ["]
        edge = float(self.field.law(18.0))
        for distance in (200.0, 500.0, 1000.0, 2000.0):
            text.append(f"  {{ distance = {distance}, width = {2 * edge * (distance + self.pupil_depth) + rng.normal(0, 1.0):.1f} }},")
        return "\n".join([*text, "]", ""])


@cache
def prime() -> Traced:
    """The invented 35 mm f/2 of the demonstration, whose corners lose two stops and more by its own glass."""
    return Traced("prime-prescription", 0, 35.0, 2.0, 58.0, 66.0, (40.0, 58.0))


@cache
def zoom() -> Traced:
    """The invented zoom of the demonstration at its wide end."""
    return Traced("zoom-prescription", 0, 29.0, 3.5, 64.0, 70.0, (34.0, 50.0))


__all__ = ["Traced", "prime", "to_toml", "zoom"]
