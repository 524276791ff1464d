"""The machine-readable record of a proof and of a strip's rim: plain dictionaries, described in docs/proving.md."""

from __future__ import annotations

import hashlib
from typing import Any

from shadewright.measure.proof import PairProof, Proof
from shadewright.measure.strip import StripRim

VERSION = 1


def proof_record(proof: Proof, *, lens: str, camera: str, hood: str, document: bytes) -> dict[str, Any]:
    """What `measure proof --json` prints and what is kept beside the hood document, whose bytes are `document`."""
    seat = proof.seating
    return {
        "report": "proof",
        "version": VERSION,
        "lens": lens,
        "camera": camera,
        "hood": hood,
        "hood_sha256": hashlib.sha256(document).hexdigest(),
        "finding": str(proof.finding),
        "passes": proof.passes,
        "allowance": proof.allowance,
        "pairs": [_pair(pair) for pair in proof.pairs],
        "seating": None if seat is None else {
            name: {"value": round(value, 3), "error": round(error, 3), "told": told}
            for name, value, error, told in zip(
                ("turn", "forward", "right", "up"), (seat.turn, seat.forward, seat.right, seat.up), seat.errors, seat.told, strict=True
            )
        },
        "turn_range": None if seat is None else [round(v, 2) for v in seat.turn_range],
        "notes": list(proof.notes),
    }  # fmt: skip


def _pair(pair: PairProof) -> dict[str, Any]:
    found = pair.intrusion
    floor = None if found.floor == float("inf") else round(found.floor, 4)
    return {
        "setting": pair.setting.label,
        "bare": pair.ratio.paths[0].name,
        "with_hood": pair.ratio.paths[1].name,
        "finding": str(pair.finding),
        "shows": found.shows,
        "where": pair.worst.name if found.shows else None,
        "stops": round(pair.worst.loss, 4) if found.shows else 0.0,
        "stops_error": round(pair.worst.error, 4),
        "low": round(pair.stretch[0], 4),
        "high": None if floor is None and not found.shows else round(pair.stretch[1], 4),
        "floor": floor,
        "area": round(found.area, 5),
        "light_change": [round(v, 4) for v in found.slope],
        "curve_doubt": pair.ratio.doubt,
        "dusty_cells": found.dust,
    }


def strip_record(found: StripRim, *, picture: str, diameter: float, edge: float) -> dict[str, Any]:
    """What `measure strip --json` prints."""
    return {
        "report": "strip",
        "version": VERSION,
        "picture": picture,
        "diameter": diameter,
        "edge": edge,
        "sheet_error": round(found.sheet_error, 4),
        "rim": [[float(a), round(float(z), 3), round(float(e), 3)] for a, z, e in zip(found.azimuth, found.z, found.error, strict=True)],
    }
