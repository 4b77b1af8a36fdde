"""A server of its own for each test, and Debian's browser in front of it."""

from __future__ import annotations

import itertools
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright import sync_api

from tests.cli.conftest import warm

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
PROGRAM = [sys.executable, "-c", "from halfsplit.cli import main; main()"]
# Nothing of the browser's own may go out, or a test could not tell whose request it was.
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
QUIET += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]
PATIENCE = 120_000  # ms; a machine that runs twenty other things must not fail a story


# Below what the system hands out by itself. The usual port would not do: a test that kills its
# server and starts it again where it was could find the server of another worker there.
FIRST_PORT = 20_000
PORTS_A_WORKER = 500
_ports = itertools.count()


def own_port() -> int:
    """A port nothing listens on, and that no other worker of this run will take."""
    worker = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    first = FIRST_PORT + PORTS_A_WORKER * worker
    for _ in range(PORTS_A_WORKER):
        port = first + next(_ports) % PORTS_A_WORKER
        with socket.socket() as tried:
            if tried.connect_ex(("127.0.0.1", port)) != 0:
                return port
    raise AssertionError(f"something listens on every port from {first} on")


class Server:
    """``halfsplit app`` on a folder, in a process of its own."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.folder = folder
        if "--port" not in options:
            options = (*options, "--port", str(own_port()))
        command = [*PROGRAM, "app", str(folder), "--json", *options]
        # The framework behaves otherwise where it sees that a test runs; this is the real thing.
        env = {k: v for k, v in os.environ.items() if not k.startswith("PYTEST")}
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=env)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        self.told: dict[str, Any] = json.loads(line) if line else {}
        if "address" not in self.told:
            self.process.stdout.close()
            ended = self.process.wait()
            raise AssertionError(f"the server said {line!r} and ended with {ended}")
        self.address = str(self.told["address"]).rstrip("/")

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self.told["port"])

    def kill(self) -> None:
        """As a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        """As Ctrl-C does."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(20)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        if self.process.stdout is not None:
            self.process.stdout.close()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The browser; without one these tests cannot say anything, and fail."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    assert program, "the browser tests need chromium: apt-get install chromium"
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, headless=True, args=QUIET)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def warm_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Dictionaries of the demo tray on its raw rails, solved once for all browser tests."""
    return warm(tmp_path_factory)


def filled(warm_cache: Path, place: Path) -> tuple[Path, Path]:
    """A folder with the demo tray in it, and a cache of its own that is warm."""
    cache, folder = place / "cache", place / "shelf"
    shutil.copytree(warm_cache, cache)
    (folder / "hd40").mkdir(parents=True)
    shutil.copy(EXAMPLES / "hd40" / "pt3.yaml", folder / "hd40" / "pt3.yaml")
    return folder, cache


@pytest.fixture
def shelf(warm_cache: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A shelf of one test, its cache in force."""
    folder, cache = filled(warm_cache, tmp_path)
    monkeypatch.setenv("HALFSPLIT_CACHE", str(cache))
    return folder


Serve = Callable[..., Server]


@pytest.fixture
def serve(shelf: Path) -> Iterator[Serve]:
    """Start servers on the shelf; all are stopped at the end."""
    running: list[Server] = []

    def start(*options: str) -> Server:
        server = Server(shelf, *options)
        running.append(server)
        return server

    yield start
    for server in running:
        server.stop()


class Watched:
    """A browser page, and what it asked for and complained of."""

    def __init__(self, page: Any, server: Server) -> None:
        self.page = page
        self.server = server
        self.asked: list[str] = []
        self.complaints: list[str] = []
        page.set_default_timeout(PATIENCE)
        page.on("request", lambda r: self.asked.append(r.url))
        page.on("websocket", lambda w: self.asked.append(w.url))
        page.on("pageerror", lambda e: self.complaints.append(f"error {e}"))
        page.on("console", self._console)

    def _console(self, message: Any) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(f"{message.type} {message.text}")

    @property
    def outside(self) -> list[str]:
        """Requests that went anywhere but to the server."""
        own = tuple(f"{s}://127.0.0.1:{self.server.port}/" for s in ("http", "ws"))
        return [u for u in self.asked if not u.startswith((*own, "data:", "blob:"))]


Visit = Callable[..., Watched]


@pytest.fixture
def visit(chromium: Any) -> Iterator[Visit]:
    """Open pages, each a device of its own."""
    contexts: list[Any] = []

    def open_(server: Server, path: str = "/", **options: Any) -> Watched:
        options.setdefault("viewport", {"width": 1280, "height": 800})
        context = chromium.new_context(**options)
        contexts.append(context)
        watched = Watched(context.new_page(), server)
        watched.page.goto(server.address + path)
        return watched

    yield open_
    for context in contexts:
        context.close()
