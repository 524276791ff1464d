"""Invented lenses and beams for tests, and their translation for the independent reference."""

from __future__ import annotations

import math

import numpy as np

import oracle
from shadewright.model.camera import Camera
from shadewright.model.hood import Hood, Margin, RimPart, RimShape, Wishes
from shadewright.model.lens import Front, Lens, Mapping, Seat, SeatPlace, State, Window
from shadewright.optics.beam import Beam
from shadewright.optics.frame import Frame
from shadewright.optics.settings import Setting

NO_PLAY = Margin(radial=0.0, axial=0.0, rotation=0.0)


def beam_of(
    windows: list[tuple[float, float, float, float]], half_width: float, half_height: float, *, reach: float = 0.0,
    distance: float = math.inf, offset: tuple[float, float] = (0.0, 0.0),
) -> Beam:  # fmt: skip
    """A beam from plain numbers; slopes for the frame, mm for the rest."""
    w, h, (ox, oy) = half_width, half_height, offset
    piece = np.array([(ox + w, oy + h), (ox - w, oy + h), (ox - w, oy - h), (ox + w, oy - h)])
    table = np.array(windows, dtype=float)
    setting = Setting(
        focal_length=20.0, f_number=2.8, smallest_f_number=22.0, focus_distance=distance, reach=reach,
        pupil_depth=float(table[0, 0]), pupil_depth_plus_minus=0.0, pupil_radius=float(table[0, 1]),
        image_distance=20.0, front_radius=float(table[1, 1]) if len(table) > 1 else 99.0,
        windows=tuple(tuple(row) for row in table.tolist()), shift=(0.0, 0.0), image_travel=0.0,
    )  # fmt: skip
    frame = Frame(20.0 * w, 20.0 * h, 20.0, Mapping(), camera().orientation, None)
    return Beam(table, (piece,), reach, distance, "a setting", frame, setting)


def reference(beam: Beam) -> oracle.Setting:
    """The same beam for the independent reference; one rectangular piece only."""
    (piece,) = beam.pieces
    low, high = piece.min(axis=0), piece.max(axis=0)
    return oracle.Setting(
        windows=[oracle.Window(*row) for row in beam.windows.tolist()],
        half_width=float(high[0] - low[0]) / 2,
        half_height=float(high[1] - low[1]) / 2,
        offset=(float(high[0] + low[0]) / 2, float(high[1] + low[1]) / 2),
        reach=beam.reach,
        distance=None if math.isinf(beam.object_distance) else beam.object_distance,
    )


def camera(width: float = 36.0, height: float = 24.0, **more: object) -> Camera:
    """A camera with a frame of any size."""
    return Camera.model_validate(
        {"document": "camera", "version": 1, "name": "Heron body", "frame": [width, height], **more}
    )


def hood(shape: RimShape = RimShape.PETAL, *, margin: Margin = NO_PLAY, **wishes: object) -> Hood:
    """Wishes for a hood, without play unless asked for."""
    return Hood(
        document="hood", version=1, name="test hood", rim=RimPart(shape=shape), margin=margin,
        wishes=Wishes.model_validate(wishes),
    )  # fmt: skip


def zoom(*, seat: SeatPlace = SeatPlace.BARREL, turns: bool = False) -> Lens:
    """A zoom whose front grows towards the wide end, at far and near focus."""
    rows = [
        (24.0, "infinity", 20.0, 30.0, 58.0, 30.0), (40.0, "infinity", 8.0, 38.0, 70.0, 31.0),
        (70.0, "infinity", 0.0, 56.0, 105.0, 37.0), (24.0, 300.0, 22.0, 30.5, 59.0, 30.0),
        (40.0, 300.0, 11.0, 39.0, 71.0, 31.0), (70.0, 300.0, 5.0, 58.0, 107.0, 37.0),
    ]  # fmt: skip
    states = tuple(
        State.model_validate(
            {
                "focal_length": f, "f_number": 2.8, "focus_distance": d, "reach": reach, "pupil_depth": depth,
                "rear_window": {"depth": rear, "radius": radius},
            }
        )
        for f, d, reach, depth, rear, radius in rows
    )  # fmt: skip
    return Lens(
        document="lens", version=1, name="Tarn 24-70", front=Front(rim_diameter=80.0, clear_diameter=68.0, clear_depth=0.0, turns=turns),
        seat=Seat(on=seat, diameter=84.0), state=states,
    )  # fmt: skip


def prime(focal_length: float = 24.0, f_number: float = 2.8, **more: object) -> Lens:
    """A prime with plausible windows for its focal length; `more` replaces fields of its one state."""
    corner = math.hypot(18.0, 12.0) / focal_length
    depth = 26.0 if focal_length < 60 else 0.5 * focal_length
    pupil = focal_length / (2 * f_number)
    clear = 2 * max(depth * corner * 0.9 + pupil * 0.7, pupil * 1.05)
    state = {"focal_length": focal_length, "f_number": f_number, "reach": 2.0, "pupil_depth": depth, **more}
    return Lens(
        document="lens", version=1, name=f"Sorrel {focal_length:g}",
        front=Front(rim_diameter=round(clear + 10, 1), clear_diameter=round(clear, 1), clear_depth=0.0),
        seat=Seat(on=SeatPlace.FRONT, diameter=round(clear + 10, 1)), state=(State.model_validate(state),),
    )  # fmt: skip


__all__ = ["NO_PLAY", "Window", "beam_of", "camera", "hood", "prime", "reference", "zoom"]
