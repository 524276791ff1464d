"""A photographed sheet with a strip on it, drawn here from the sheet's published layout and a camera of our own."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pypdfium2
from PIL import Image, ImageDraw

from shadewright.measure.target import LANE_HALF, LANE_MIDDLE, LANES, SHEET
from shadewright.show.target_sheet import target_sheet

PER_MM = 10


def photographed(
    path: Path, rim: Callable[[np.ndarray], np.ndarray], diameter: float, *, tilt: float = 12.0, turn: float = 5.0, noise: float = 4.0,
    gap: tuple[float, float] | None = None, printed: float = 1.0, seed: int = 1,
) -> Path:  # fmt: skip
    """Write a JPEG of the printed sheet with the strip's halves laid on it, seen by a pinhole camera at a slant.

    rim: z in mm at azimuths in degrees. gap: azimuths between which no line was drawn. printed: scale of the print.
    """
    document = pypdfium2.PdfDocument(target_sheet())
    page = document[0].render(scale=PER_MM * printed * 25.4 / 72.0).to_pil().convert("L")
    board = Image.new("L", (round(SHEET[0] * PER_MM * 1.1), round(SHEET[1] * PER_MM * 1.1)), 200)
    board.paste(page, (0, board.height - page.height))
    document.close()
    pen = ImageDraw.Draw(board)
    for middle, base in zip((90.0, 270.0), LANES, strict=True):
        azimuth = np.linspace(middle + 90.0, middle - 90.0, 1500)
        x = LANE_MIDDLE * printed + np.radians(middle - azimuth) * diameter / 2
        z = rim(azimuth % 360.0)
        half = math.pi * diameter / 4
        low = board.height - base * printed * PER_MM
        assert half <= LANE_HALF
        pen.rectangle(
            ((LANE_MIDDLE * printed - half) * PER_MM, low - 58 * PER_MM, (LANE_MIDDLE * printed + half) * PER_MM, low), fill=246
        )
        points = [(a * PER_MM, low - b * PER_MM) for a, b in zip(x, z, strict=True)]
        drawn = [p for p, a in zip(points, azimuth % 360.0, strict=True) if gap is None or not gap[0] <= a <= gap[1]]
        runs: list[list[tuple[float, float]]] = [[]]
        for before, after in zip(drawn, [*drawn[1:], drawn[-1]], strict=True):
            runs[-1].append(before)
            if abs(after[0] - before[0]) > 2 * PER_MM:
                runs.append([])
        for run in runs:
            if len(run) > 1:
                pen.line(run, fill=35, width=round(0.6 * PER_MM))
    return _seen(board, path, tilt, turn, noise, seed)


def _seen(board: Image.Image, path: Path, tilt: float, turn: float, noise: float, seed: int) -> Path:
    """The board through a pinhole, tilted and turned, with uneven light and noise, as JPEG."""
    w, h = board.size
    a, b = math.radians(tilt), math.radians(turn)
    spin = np.array([[math.cos(b), -math.sin(b), 0], [math.sin(b), math.cos(b), 0], [0, 0, 1]])
    lean = np.array([[1, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
    away = 1.6 * w
    corners = []
    for x, y in ((0, 0), (w, 0), (w, h), (0, h)):
        p = lean @ spin @ np.array([x - w / 2, y - h / 2, 0.0])
        corners.append((1.15 * p[0] * away / (away + p[2]) + 0.56 * w, 1.15 * p[1] * away / (away + p[2]) + 0.62 * h))
    rows = []
    for (x, y), (u, v) in zip(corners, ((0, 0), (w, 0), (w, h), (0, h)), strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    back = np.linalg.solve(np.array(rows), np.array([c for uv in ((0, 0), (w, 0), (w, h), (0, h)) for c in uv], float))
    size = (round(1.12 * w), round(1.25 * h))
    seen = board.transform(size, Image.Transform.PERSPECTIVE, tuple(back), Image.Resampling.BICUBIC, fillcolor=110)
    seen = seen.resize((size[0] * 7 // 10, size[1] * 7 // 10), Image.Resampling.LANCZOS)
    rng = np.random.default_rng(seed)
    values = np.asarray(seen, float) * np.linspace(0.75, 1.0, seen.size[0])[None, :] + rng.normal(0, noise, seen.size[::-1])
    stream = io.BytesIO()
    Image.fromarray(np.clip(values, 0, 255).astype(np.uint8)).save(stream, "JPEG", quality=90)
    path.write_bytes(stream.getvalue())
    return path
