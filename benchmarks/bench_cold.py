"""Fresh processes: import of the package, and `shadewright fit` with its files. Best of three."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from importlib import resources
from pathlib import Path

from common import best_of, heading


def main() -> None:
    """Print the claims and what was measured."""
    demo = Path(str(resources.files("shadewright").joinpath("demo")))
    heading("Fresh processes")
    bare = best_of(lambda: subprocess.run([sys.executable, "-c", "pass"], check=True), 3)
    package = best_of(lambda: subprocess.run([sys.executable, "-c", "import shadewright"], check=True), 3)
    print(f"  import shadewright: {package - bare:.3f} s beyond the interpreter's own {bare:.3f} s (goal 0.3 s)")
    for name in ("zoom", "wide", "shift"):
        with tempfile.TemporaryDirectory() as folder:
            command = [
                sys.executable, "-m", "shadewright.cli", "fit", str(demo / f"{name}.toml"), str(demo / "camera.toml"),
                str(demo / f"{name}-hood.toml"), "--out", folder,
            ]  # fmt: skip
            seconds = best_of(lambda c=command: subprocess.run(c, check=True, capture_output=True), 3)
            print(f"  shadewright fit, {name}, with its files: {seconds:.2f} s (goal 3 s)")


if __name__ == "__main__":
    main()
