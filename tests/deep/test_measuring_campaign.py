"""Hundreds of synthetic sets of frames with tubes: the errors stated cover the truth as often as they say."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "measure"))
from pupil_cases import Case, pull

pytestmark = pytest.mark.deep


def test_one_standard_error_covers_two_thirds_of_five_hundred_sets(tmp_path: Path) -> None:
    pulls = np.abs([pull(Case(play=0.1), tmp_path, seed)[0] for seed in range(500)])
    assert 0.60 <= float(np.mean(pulls < 1)) <= 0.76
    assert float(np.mean(pulls < 2)) >= 0.92
