"""A pair of 24 megapixel photographs to a map of loss, time and memory, and memory against the number of frames."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from common import heading

ROWS, COLUMNS = 4000, 6000
CHILD = """
import resource, sys, time
from shadewright.measure.pairs import ratio_of_files
half = len(sys.argv) // 2
files = sys.argv[1:]
ratio_of_files(files[:1], files[-1:])
started = time.perf_counter()
ratio_of_files(files[: len(files) // 2], files[len(files) // 2 :])
print(time.perf_counter() - started, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def measured(files: list[Path]) -> tuple[float, float]:
    """Seconds of a warm pair, half the files to a side, and the most memory of the process in MiB."""
    done = subprocess.run([sys.executable, "-c", CHILD, *map(str, files)], check=True, capture_output=True, text=True)
    seconds, memory = done.stdout.split()
    return float(seconds), float(memory)


def main() -> None:
    """Print the claims and what was measured."""
    import tifffile
    from PIL import Image

    heading("A pair of 24 megapixel photographs (goal 3 s, 1024 MiB)")
    rng = np.random.default_rng(1)
    light = 0.4 + rng.normal(0, 0.003, (ROWS, COLUMNS)).astype(np.float32)
    with tempfile.TemporaryDirectory() as folder:
        deep, developed = Path(folder) / "a.tif", Path(folder) / "a.jpg"
        tifffile.imwrite(deep, (light * 65535).astype(np.uint16))
        grey = (light ** (1 / 2.2) * 255).astype(np.uint8)
        Image.fromarray(np.repeat(grey[:, :, None], 3, 2)).save(developed, quality=92)
        for name, path in (("TIFF, 16 bits, grey", deep), ("JPEG", developed)):
            for each in (1, 4):
                seconds, memory = measured([path] * (2 * each))
                print(f"  {name}, {each} a side: {seconds:.2f} s, {memory:.0f} MiB")


if __name__ == "__main__":
    main()
