"""A journal in a folder of its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from halfsplit.journal import Journal


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "pt3.journal"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    with Journal.open(path) as opened:
        yield opened
