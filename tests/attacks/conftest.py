"""The small chain of tests/actions, released twice and published; every case has a copy of folder and state."""

from __future__ import annotations

import sys
from pathlib import Path

_TESTS = Path(__file__).resolve().parent.parent
for _name in ("actions", "cli"):
    if str(_TESTS / _name) not in sys.path:
        sys.path.append(str(_TESTS / _name))
