"""Readings of a circuit that keeps time by itself stand before its bands, which take minutes."""

from __future__ import annotations

import io
import re
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from rich.console import Console

from halfsplit import circuit
from halfsplit.cli import expected, show
from halfsplit.faults import beats, dictionary
from halfsplit.faults.store import store_arrays
from tests.cli.conftest import EXAMPLES, Run

ASKED = ("expect", "ob8.yaml", "out", "--feed", "raw", "--load", "half")


@pytest.fixture
def printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> list[tuple[str, str]]:
    """What stands on the screen when bands are begun, and what their progress is said to be of."""
    shutil.copy(EXAMPLES / "stile17" / "ob8.yaml", tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path / "cache"))
    seen: list[tuple[str, str]] = []

    def begun(_: Any, __: Any, moves: Any, folder: Path, progress: Any) -> None:
        seen.append((capsys.readouterr().out, progress._what))
        slopes = {"mean": np.zeros(0), "slopes": np.zeros((len(moves), 1)), "period": 0.0}
        store_arrays(folder / beats.KEPT_IN, slopes)

    monkeypatch.setattr(dictionary, "followed_slopes", begun)
    return seen


def _read(text: str) -> list[str]:
    """The first reading of a table: where, and how many volts."""
    return next(re.split(r"[^\w.]+", x.strip("│ ┃"))[:3] for x in text.splitlines() if "│ out" in x)


def test_readings_come_first_and_bands_follow(run: Run, printed: list[tuple[str, str]]) -> None:
    ran = run(*ASKED)
    assert ran.code == 0
    ((first, what),) = printed
    assert "If all is well" in first and "between" not in first
    assert expected.BANDS_FOLLOW in first
    assert "bands" in what and "fault" not in what
    assert "between" in ran.out and expected.BANDS_FOLLOW not in ran.out
    early, late = (_read(text) for text in (first, ran.out))
    assert early == late
    # With bands on disk nothing is said before them.
    run(*ASKED)
    assert printed[1][0] == ""


def test_json_is_printed_once(run: Run, printed: list[tuple[str, str]]) -> None:
    ran = run(*ASKED, "--json")
    assert printed[0][0] == ""
    assert [line["name"] for line in ran.json] == ["out"]
    assert ran.json[0]["low"] < ran.json[0]["mean"] < ran.json[0]["high"]


def test_compiling_is_said_once_a_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many pieces are missing, and whoever opens another machine in between."""
    screen = io.StringIO()
    monkeypatch.setattr(show, "err", Console(file=screen, width=100))
    monkeypatch.setattr(show, "_compiling_said", [])
    monkeypatch.setattr(circuit, "compiled", lambda piece="": False)
    monkeypatch.setattr(circuit, "_looked_for", set())
    monkeypatch.setattr(circuit, "_listeners", [])
    for piece in ("one", "two", "three"):
        show.first_run_note()
        circuit.needs(piece)
    assert screen.getvalue().count("Compiling the solver") == 1
