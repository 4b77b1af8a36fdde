"""The demo rack, and one in a folder of its own to work at."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from halfsplit.bench.racks import open_rack
from halfsplit.boards.model import Rack

QUILLON = Path(__file__).parents[2] / "examples" / "quillon16" / "boards.yaml"


@pytest.fixture(scope="session")
def rack() -> Rack:
    """The demo rack."""
    found, doubts = open_rack(QUILLON)
    assert doubts == []
    return found


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A copy of the demo file, with no journal yet."""
    return Path(shutil.copy(QUILLON, tmp_path / "boards.yaml"))
