"""Makes the hunts of this room's tests importable from any of its files."""

from __future__ import annotations

import sys
from pathlib import Path

TESTS = str(Path(__file__).resolve().parents[1])
if TESTS not in sys.path:
    sys.path.append(TESTS)
