"""Pages without a browser: the framework's own simulated user, on a shelf with the demo tray."""

from __future__ import annotations

import asyncio
import importlib
import pkgutil
import shutil
import sys
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AsyncExitStack
from pathlib import Path

import httpx
import pytest
from nicegui import core, ui
from nicegui.testing import User, user_simulation

import halfsplit
from halfsplit.bench.desk import Desk
from halfsplit.bench.shelf import Shelf
from halfsplit.web import server
from halfsplit.web.drafts import Drafts
from halfsplit.web.house import House
from halfsplit.web.server import build
from tests.cli.conftest import TRAY, cache

__all__ = ["cache"]
BENCH = "/bench/pt3.yaml"


@pytest.fixture(autouse=True)
def _patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages come whole, however busy this computer is; what a browser sees meanwhile is tested on
    its own."""
    monkeypatch.setattr(server, "PATIENCE", 60.0)


@pytest.fixture
def shelf(cache: Path, tmp_path: Path) -> Path:
    """A folder with the demo tray."""
    folder = tmp_path / "shelf"
    folder.mkdir()
    shutil.copy(TRAY, folder / "pt3.yaml")
    return folder


class App:
    """The app as built on a shelf: its house, and as many simulated devices as wanted."""

    def __init__(self, house: House, first: User, folder: Path) -> None:
        self.house = house
        self.user = first
        self.file = folder / "pt3.yaml"

    async def another(self, stack: AsyncExitStack) -> User:
        """One more device."""
        transport = httpx.ASGITransport(core.app)
        client = httpx.AsyncClient(transport=transport, base_url="http://test")
        return User(await stack.enter_async_context(client))


for found in pkgutil.walk_packages(halfsplit.__path__, "halfsplit."):
    importlib.import_module(found.name)  # all of it, so that none comes only half way through
OURS = {k: v for k, v in sys.modules.items() if k.partition(".")[0] == "halfsplit"}


@pytest.fixture(autouse=True)
def _whole() -> Iterator[None]:
    """The framework throws out the modules that have pages, parents and all; what other tests hold
    of the package must stay one with what they import."""
    yield
    sys.modules.update(OURS)


@pytest.fixture
async def app(shelf: Path, tmp_path: Path) -> AsyncIterator[App]:
    """The app, closed at the end with all its threads."""
    house = House(Shelf(shelf), Drafts(tmp_path / "drafts"))
    async with user_simulation() as user:
        build(house)
        yield App(house, user, shelf)
        await asyncio.to_thread(house.close)


@pytest.fixture
async def cold(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[App]:
    """The app where nothing was worked out before and no advice is: for pages it has no say in."""
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(Desk, "think", lambda self: None)
    folder = tmp_path / "shelf"
    folder.mkdir()
    shutil.copy(TRAY, folder / "pt3.yaml")
    house = House(Shelf(folder), Drafts(tmp_path / "drafts"))
    async with user_simulation() as user:
        build(house)
        yield App(house, user, folder)
        await asyncio.to_thread(house.close)


async def until(true: Callable[[], bool], seconds: float = 60.0) -> None:
    """Wait until something is so; that it never is, is a failure."""
    for _ in range(int(seconds / 0.02)):
        if true():
            return
        await asyncio.sleep(0.02)
    raise AssertionError("it never came to be so")


assert ui
