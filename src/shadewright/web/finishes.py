"""The table of finishes as the page shows it: how much each sends back, straight on and at grazing light, and who says so."""

from __future__ import annotations

from typing import Any

from shadewright.design.weigh_stray import USUAL_FINISH
from shadewright.light.finishes import FINISHES

ANGLES = (0, 15, 30, 45, 60, 70, 75, 80, 85)
"""Angles from the normal at which reflectances are told, degrees."""


def finishes() -> dict[str, Any]:
    """Every finish with its reflectance at ANGLES, that for light from everywhere, the range to expect and its source."""
    listed = [
        {
            "name": finish.name, "reflectance": [round(finish.reflectance(float(angle)), 4) for angle in ANGLES],
            "from_everywhere": round(finish.diffuse_reflectance, 4), "low": finish.low, "high": finish.high, "source": finish.source,
        }
        for finish in FINISHES
    ]  # fmt: skip
    return {"angles": list(ANGLES), "usual": USUAL_FINISH, "finishes": listed}
