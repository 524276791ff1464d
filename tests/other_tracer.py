"""The same lens in an independent general-purpose optics library (batoid, BSD licence), for tests."""

from __future__ import annotations

import batoid
import numpy as np
from numpy.typing import NDArray

from shadewright.optics.system import System

Array = NDArray[np.float64]


def optic(system: System, *, clips: bool = True) -> batoid.CompoundOptic:
    """The system's surfaces, with clear apertures where `clips`, and its image plane."""
    items = []
    media = [batoid.ConstMedium(float(index)) for index in system.index]
    for k in range(len(system)):
        c, conic, poly = float(system.curvature[k]), float(system.conic[k]), system.aspheric[k]
        if poly.any():
            used = np.trim_zeros(poly, "b")
            if c == 0 or conic == -1:
                # There batoid's search starts from nowhere; the paraboloid's c r2 / 2 goes with the terms, on what is all but
                # a plane: its sag is wrong by less than 1e-12 mm.
                surface = batoid.Asphere(1e15, 0.0, np.concatenate([[0.5 * c], used]), imin=1)
            else:
                surface = batoid.Asphere(1.0 / c, conic, used)
        elif c == 0:
            surface = batoid.Plane()
        elif conic == 0:
            surface = batoid.Sphere(1.0 / c)
        elif conic == -1:
            surface = batoid.Paraboloid(1.0 / c)
        else:
            surface = batoid.Quadric(1.0 / c, conic)
        clear = batoid.ObscNegation(batoid.ObscCircle(float(system.semi[k]))) if clips else None
        items.append(
            batoid.RefractiveInterface(
                surface, name=f"surface {k + 1}", inMedium=media[k], outMedium=media[k + 1], obscuration=clear,
                coordSys=batoid.CoordSys(np.array([0.0, 0.0, float(system.vertices[k])])),
            )
        )  # fmt: skip
    image = batoid.CoordSys(np.array([0.0, 0.0, float(system.vertices[-1])]))
    items.append(
        batoid.Detector(batoid.Plane(), name="image", inMedium=media[-1], outMedium=media[-1], coordSys=image)
    )
    return batoid.CompoundOptic(items, name="lens", inMedium=media[0], outMedium=media[-1])


def rays(origins: Array, directions: Array) -> batoid.RayVector:
    """Rays from origins (n, 3) along directions (n, 3), any length."""
    along = directions / np.linalg.norm(directions, axis=1)[:, None]
    return batoid.RayVector(*origins.T.copy(), *along.T.copy())


def passes(lens: batoid.CompoundOptic, origins: Array, directions: Array) -> NDArray[np.bool_]:
    """Which rays reach the image inside every clear aperture."""
    found = lens.trace(rays(origins, directions))
    return ~np.asarray(found.vignetted) & ~np.asarray(found.failed)
