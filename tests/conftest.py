"""What all tests share: the tests' own folder on the path, so that `oracle` and `lenses` can be imported."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
