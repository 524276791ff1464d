"""Works out, checks, weighs and makes lens hoods that cannot show in the frame.

The names below are the public API; each loads what it needs when it is first used.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_PUBLIC = {
    "ShadewrightError": "shadewright.errors",
    "Lens": "shadewright.model.lens",
    "Camera": "shadewright.model.camera",
    "Hood": "shadewright.model.hood",
    "Surroundings": "shadewright.model.surroundings",
    "FORMATS": "shadewright.model.formats",
    "read_lens": "shadewright.model.documents",
    "read_camera": "shadewright.model.documents",
    "read_hood": "shadewright.model.documents",
    "read_surroundings": "shadewright.model.documents",
    "parse_document": "shadewright.model.documents",
    "schema": "shadewright.model.documents",
    "to_toml": "shadewright.model.writing",
    "RoundWall": "shadewright.model.shape",
    "TunnelWall": "shadewright.model.shape",
    "Rim": "shadewright.model.shape",
    "RoundHood": "shadewright.model.shape",
    "TunnelHood": "shadewright.model.shape",
    "MeshHood": "shadewright.model.shape",
    "job": "shadewright.optics.beam",
    "Beam": "shadewright.optics.beam",
    "keep_out": "shadewright.clearance.keepout",
    "KeepOut": "shadewright.clearance.keepout",
    "sensor_view": "shadewright.clearance.loss",
    "worst_loss": "shadewright.clearance.loss",
    "check": "shadewright.clearance.check",
    "fit": "shadewright.design.fit",
    "weigh": "shadewright.design.weigh",
    "light_map": "shadewright.light.share",
    "stray_lights": "shadewright.light.surroundings",
    "load_shape": "shadewright.load",
    "make_files": "shadewright.make.workshop",
}

__all__ = ["__version__", *sorted(_PUBLIC)]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(importlib.import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'shadewright' has no attribute {name!r}")


def __dir__() -> list[str]:
    return __all__
