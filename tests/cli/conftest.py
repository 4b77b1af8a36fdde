"""A copy of the demo tray to type commands at, and what a command printed."""

from __future__ import annotations

import fcntl
import json
import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from halfsplit.cli import main

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
TRAY = EXAMPLES / "hd40" / "pt3.yaml"
CONSOLE = EXAMPLES / "quillon16" / "console.yaml"


@dataclass(frozen=True)
class Ran:
    """Exit code and output of one command."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """Standard output as JSON by the letter of RFC 8259, which knows no NaN or Infinity."""

        def refuse(word: str) -> None:
            raise ValueError(f"{word} is no JSON")

        return json.loads(self.out, parse_constant=refuse)


Run = Callable[..., Ran]


def warm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cache warm for the tray on its raw rails, worked out once for all workers of a run."""
    base = tmp_path_factory.getbasetemp()
    place = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "warm-tray"
    place.mkdir(exist_ok=True)
    with (place / "lock").open("w") as held, pytest.MonkeyPatch.context() as patch:
        fcntl.flock(held, fcntl.LOCK_EX)
        folder = place / "cache"
        if not (place / "done").exists():
            patch.setenv("HALFSPLIT_CACHE", str(folder))
            file = place / "pt3.yaml"
            shutil.copy(TRAY, file)
            assert main(["change", str(file), "--feed", "raws"]) == 0
            assert main(["read", str(file), "p5=1.06"]) == 0  # pairs are looked at from then on
            assert main(["suspects", str(file)]) == 0
            assert main(["next", str(file)]) == 0  # may look at other loads
            assert main(["change", str(file), "--load", "bench"]) == 0
            assert main(["resume", str(file)]) == 0
            (place / "done").touch()
    return folder


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Dictionary cache of this module, warm for the tray on its raw rails."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("cache") / "warm"
        shutil.copytree(warm(tmp_path_factory), folder)
        patch.setenv("HALFSPLIT_CACHE", str(folder))
        yield folder


@pytest.fixture
def tray(cache: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The tray, in a folder of its own that is also the current one, fed on its raw rails."""
    shutil.copy(TRAY, tmp_path / "pt3.yaml")
    shutil.copy(CONSOLE, tmp_path / "console.yaml")
    monkeypatch.chdir(tmp_path)
    assert main(["change", "pt3.yaml", "--feed", "raws"]) == 0
    return tmp_path / "pt3.yaml"


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run one command in this process. A traceback on the screen is a failure anywhere."""

    def call(*argv: str) -> Ran:
        capsys.readouterr()
        code = main(list(argv))
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return Ran(code, out, err)

    return call
