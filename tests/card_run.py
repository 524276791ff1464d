"""Runs the kernels for a graphics card in a process of their own, by numba's simulator or on a real card, and keeps what they find.

Called by `light/test_card.py`: the simulator must be chosen before numba is imported. In it the kernels, and the functions
of one ray that they call, run as plain Python.
"""

from __future__ import annotations

import sys
import warnings
from pathlib import Path

import numpy as np

from card_cases import CASES, FINISH, POINTS, RAYS, SKY
from shadewright.light.card import Device
from shadewright.light.fast import direct_light
from shadewright.light.wall_light import Method, wall_light


def main(path: Path) -> None:
    """Write what a card finds of every case."""
    # Whole numbers of 32 and 64 bits run over in the generator, as they should; plain Python remarks on it.
    warnings.filterwarnings("ignore", "overflow encountered", RuntimeWarning)
    found: dict[str, np.ndarray] = {}
    for name, scene in CASES.items():
        run = wall_light(scene, FINISH, sky=SKY, method=Method.REFERENCE, samples=RAYS, seed=11, device=Device.CARD)
        assert run.balance is not None
        found[f"{name} value"], found[f"{name} direct"] = run.value, run.direct
        found[f"{name} balance"] = np.array([*run.balance.absorbed, *run.balance.returned, *run.balance.total, run.balance.segments])
        found[f"{name} seen"] = direct_light(scene, SKY.directions, points=POINTS, device=Device.CARD)
    np.savez(path, **found)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
