"""The kernels for a graphics card against the processor: on a card where there is one, else in numba's simulator."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from card_cases import CASES, FINISH, POINTS, RAYS, SKY
from shadewright.errors import LightError
from shadewright.light.card import Device, kernels
from shadewright.light.fast import direct_light
from shadewright.light.wall_light import Method, wall_light


def there_is_a_card() -> bool:
    """Whether CUDA finds one here."""
    if importlib.util.find_spec("numba_cuda") is None:
        return False
    from numba import cuda

    return bool(cuda.is_available())


@pytest.fixture(scope="module")
def by_card(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, NDArray[np.float64]]:
    """What the card's kernels find of the cases."""
    path = tmp_path_factory.mktemp("card") / "found.npz"
    folder = Path(__file__).parent.parent
    setting = {"NUMBA_ENABLE_CUDASIM": "1", "NUMBA_DISABLE_JIT": "1"}
    env = {**os.environ, **({} if there_is_a_card() else setting), "PYTHONPATH": os.pathsep.join([str(folder), *sys.path])}
    subprocess.run([sys.executable, str(folder / "card_run.py"), str(path)], check=True, env=env, timeout=300)
    with np.load(path) as kept:
        return dict(kept)


@pytest.mark.parametrize("name", CASES)
def test_card_traces_the_same_rays(name: str, by_card: Mapping[str, NDArray[np.float64]]) -> None:
    """Same source, same random numbers: alike but for rounding, and for the card's sums in units of 2^-30."""
    ours = wall_light(CASES[name], FINISH, sky=SKY, method=Method.REFERENCE, samples=RAYS, seed=11)
    assert by_card[f"{name} value"] == pytest.approx(ours.value, rel=1e-6, abs=1e-9)
    assert by_card[f"{name} direct"] == pytest.approx(ours.direct, rel=1e-6, abs=1e-9)
    balance = ours.balance
    assert balance is not None
    wanted = [*balance.absorbed, *balance.returned, *balance.total, balance.segments]
    assert by_card[f"{name} balance"] == pytest.approx(wanted, rel=1e-6)
    assert ours.value.max() > 0.01


@pytest.mark.parametrize("name", CASES)
def test_card_sees_the_same_points(name: str, by_card: Mapping[str, NDArray[np.float64]]) -> None:
    """Whole numbers of points; the processor's are by single precision in convex scenes, so one may be judged otherwise."""
    ours = direct_light(CASES[name], SKY.directions, points=POINTS)
    away = np.abs(by_card[f"{name} seen"] - ours) * POINTS
    assert away.max() < 1.001
    assert np.mean(away > 1e-3) < 0.05
    assert ours.max() > 0.5


def test_a_card_is_refused_where_it_cannot_be() -> None:
    with pytest.raises(LightError, match="a card runs the reference method alone"):
        wall_light(CASES["cone"], FINISH, sky=SKY, device=Device.CARD)


def test_a_missing_library_or_card_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NUMBA_ENABLE_CUDASIM", raising=False)
    monkeypatch.setattr("shadewright.light.card.importlib.util.find_spec", lambda name: None)
    with pytest.raises(LightError, match='install shadewright with its extra "gpu", or leave device out'):
        wall_light(CASES["cone"], FINISH, sky=SKY, method=Method.REFERENCE, samples=RAYS, device=Device.CARD)
    monkeypatch.setattr("shadewright.light.card.importlib.util.find_spec", lambda name: object())
    monkeypatch.setattr("numba.cuda.is_available", lambda: False)
    with pytest.raises(LightError, match="no graphics card that CUDA can use was found"):
        kernels()
    with pytest.raises(LightError, match="no graphics card"):
        direct_light(CASES["cone"], SKY.directions, device=Device.CARD)
