"""The machine that makes calls fail, and every command known, once a session."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

_HERE = str(Path(__file__).resolve().parent)
if _HERE not in sys.path:
    sys.path.append(_HERE)

from every import place, prepared  # noqa: E402
from machine import Machine, why_not  # noqa: E402
from trial import Known  # noqa: E402


@pytest.fixture(scope="session")
def faults() -> Iterator[tuple[Machine, dict[str, Known], Path]]:
    why = why_not()
    if why is not None:
        assert not os.environ.get("CI"), why
        pytest.skip(why)
    with tempfile.TemporaryDirectory(dir=place()) as name, prepared(Path(name)) as (machine, every):
        yield machine, every, Path(name)
