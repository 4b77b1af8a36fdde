"""The demo rack and console, and one of each to work at."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from halfsplit.bench.racks import open_rack
from halfsplit.boards.consoles import ConsoleFile, open_console
from halfsplit.boards.model import Rack
from halfsplit.journal import Journal

DEMO = Path(__file__).parents[2] / "examples" / "quillon16"
QUILLON = DEMO / "boards.yaml"


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


@pytest.fixture(scope="session")
def demo() -> ConsoleFile:
    """The demo's console file; nobody changes it."""
    return open_console(DEMO / "console.yaml")


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """An empty journal of its own."""
    with Journal.open(tmp_path / "q.journal") as found:
        yield found
