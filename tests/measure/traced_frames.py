"""A lens known by its prescription, photographed with tubes on it: its beams found ray by ray in another tracer."""

from __future__ import annotations

import math
from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np

from prescription_cases import Field, Other, lens_of, state_of
from shadewright.model.documents import read_document
from shadewright.model.lens import Front, Lens, Mapping, Projection, Seat, SeatPlace, State
from shadewright.model.prescription import Prescription
from shadewright.model.shots import Tube
from shadewright.model.writing import to_toml
from synthetic_camera import Barrel, Sensor, TracedGlass, dusted, exposed, traced_light, write_tiff

REACH = 6.0
"""Of the front vertex ahead of the seat plane, mm: the plane that depths are counted from."""
HEIGHT = math.hypot(18.0, 12.0)
FOCAL_LENGTH, F_NUMBER = 35.0, 2.0
STEP = 0.5
SLOPES = 26


@cache
def prescription() -> Prescription:
    """The invented 35 mm f/2 of the demonstration."""
    return read_document(Path(str(resources.files("shadewright.demo") / "prime-prescription.toml")), Prescription)


@cache
def truth() -> tuple[Field, TracedGlass]:
    """Field slopes by image height, and the rays that pass, both by the other tracer."""
    other = Other(state_of(prescription(), HEIGHT).main)
    steepest = 1.02 * HEIGHT / FOCAL_LENGTH
    field = Field(other, steepest * 1.03)
    half = np.arange(-26.0, 26.0 + STEP / 2, STEP)
    q = np.stack(np.meshgrid(half, half), axis=-1).reshape(-1, 2)
    slopes = np.linspace(0.0, steepest, SLOPES)
    masks = np.array([other.passes(q, 0.0, np.tile([tau, 0.0], (len(q), 1))).reshape(len(half), -1) for tau in slopes])
    heights = np.linspace(0.0, field.highest, 4000)
    return field, TracedGlass(np.interp(slopes, field.law(heights), heights), slopes, STEP, masks, reach=REACH)


@cache
def distortion() -> Mapping:
    """The lens's distortion as a test chart gives it: two coefficients."""
    field, _ = truth()
    height = np.linspace(1.0, HEIGHT, 60)
    slope = field.law(height)
    c = np.linalg.lstsq(np.stack([slope, slope**3, slope**5], axis=1), height, rcond=None)[0]
    return Mapping(kind=Projection.MEASURED, coefficients=(round(float(c[1] / c[0]), 4), round(float(c[2] / c[0]), 4)))


def chief_depth(slope: float) -> float:
    """Where the ray through the middle of the stop, of a field slope, meets the axis: mm behind the front vertex."""
    return Other(state_of(prescription(), HEIGHT).main).chief(slope) / slope


def unknown_lens() -> Lens:
    """What its owner knows of the lens: the marked numbers, what calipers tell of the front, and its distortion."""
    radius, semi = 60.764, 23.4
    sag = radius - math.sqrt(radius**2 - semi**2)
    return Lens(
        document="lens", version=1, name="Rowan on the bench", front=Front(rim_diameter=58.0, clear_diameter=2 * semi, clear_depth=round(sag, 2)),
        seat=Seat(on=SeatPlace.BARREL, diameter=58.0), projection=distortion(), state=(State(focal_length=FOCAL_LENGTH, f_number=F_NUMBER, reach=REACH),),
    )  # fmt: skip


def known_lens() -> Lens:
    """The same lens by its prescription."""
    lens = lens_of(prescription(), reach=REACH)
    return lens.model_copy(update={"front": Front(rim_diameter=58.0), "seat": Seat(on=SeatPlace.BARREL, diameter=58.0)})


def photograph(folder: Path, tubes: tuple[Tube, ...], seed: int, *, columns: int = 384) -> str:
    """Write frames of every tube, cut and seated as people do, and the shots document that lists them; its text."""
    rng = np.random.default_rng(seed)
    field, glass = truth()
    sensor = Sensor(columns=columns, rows=columns * 2 // 3, dust=3, full_well=20_000.0, read_noise=3.0)
    text = ['document = "shots"', "version = 1", 'name = "An evening"']
    shots = []
    for number, tube in enumerate(tubes):
        first, second = rng.uniform(0, 2 * math.pi, 2)
        barrel = Barrel.tube(
            tube.inner_diameter + rng.normal(0, tube.inner_diameter_plus_minus), tube.length + rng.normal(0, tube.length_plus_minus),
            decentre=(math.cos(first), math.sin(first)), lean=(2 * math.cos(second), 2 * math.sin(second)),
        )  # fmt: skip
        bare, shaded = traced_light(glass, sensor, barrel, seed=number)
        for name, light, gain in ((f"bare-{number}", bare, 1.0), (f"tube-{number}", shaded, 1 + rng.normal(0, 0.004))):
            write_tiff(folder / f"{name}.tif", exposed(dusted(light, sensor, rng), sensor, rng, gain=gain, frames=4))
        text += [
            "[[tube]]", f'name = "{tube.name}"', f"inner_diameter = {tube.inner_diameter}", f"length = {tube.length}",
            f"inner_diameter_plus_minus = {tube.inner_diameter_plus_minus}", f"length_plus_minus = {tube.length_plus_minus}",
        ]  # fmt: skip
        shots += ["[[setting.with_tube]]", f'tube = "{tube.name}"', f'frames = ["tube-{number}.tif"]', f'bare = ["bare-{number}.tif"]']
    text += ["[[setting]]", f"focal_length = {FOCAL_LENGTH}", f"f_number = {F_NUMBER}", f"reach = {REACH}", *shots]
    text += ["[[ruler]]", f"focal_length = {FOCAL_LENGTH}", "width_plus_minus = 1.0", "view = ["]
    edge = float(field.law(18.0))
    depth = 31.1  # Of the paraxial pupil behind the front vertex.
    for distance in (200.0, 500.0, 1000.0, 2000.0):
        text.append(f"  {{ distance = {distance}, width = {2 * edge * (distance + depth) + rng.normal(0, 1.0):.1f} }},")
    return "\n".join([*text, "]", ""])


__all__ = ["chief_depth", "known_lens", "photograph", "prescription", "to_toml", "truth", "unknown_lens"]
