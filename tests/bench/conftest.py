"""The demo tray open on the bench."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.simulator import tray

from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session

HALF = Condition("raws", "half")


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    """A copy of it with an empty journal, on its raw feeds at half load."""
    file = Path(shutil.copy(tray.EXAMPLE, tmp_path / "pt3.yaml"))
    with Session(file) as opened:
        opened.set_condition(HALF)
        yield opened
