"""Ctrl-C in the middle of a fault dictionary: a clean stop, and the next run goes on from there."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from pathlib import Path

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session
from halfsplit.faults.dictionary import CHUNK
from tests.cli.conftest import TRAY
from tests.cli.helpers import PROGRAM, ROOT


def _start(file: Path, cache: Path) -> subprocess.Popen[str]:
    env = os.environ | {
        "HALFSPLIT_CACHE": str(cache),
        "PYTHONPATH": str(ROOT / "src"),
        "COLUMNS": "100",
    }
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    # A run of the tests in the background ignores Ctrl-C, and its children would with it.
    return subprocess.Popen(
        [*PROGRAM, "suspects", str(file)], env=env, text=True, preexec_fn=_hears, **pipes
    )


def _hears() -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _chunks(cache: Path) -> list[Path]:
    return sorted(p for p in cache.rglob("*.npz") if p.stem.isdigit())


def test_interrupted_dictionary_is_resumed(tmp_path: Path) -> None:
    file, cache = tmp_path / "pt3.yaml", tmp_path / "cache"
    shutil.copy(TRAY, file)
    with Session(file) as session:
        session.set_condition(Condition("mains", "half"))  # steady feeds are over too soon
        session.read("p5", "5.02")
        count = len(session.standard)
    whole = -(-count // CHUNK)
    run = _start(file, cache)
    deadline = time.monotonic() + 120.0
    while len(_chunks(cache)) < 2 and time.monotonic() < deadline and run.poll() is None:
        time.sleep(0.01)
    run.send_signal(signal.SIGINT)
    _, err = run.communicate(timeout=120)
    assert run.returncode == 130, err
    assert "Traceback" not in err
    assert "stopped" in err
    left = _chunks(cache)
    assert 2 <= len(left) < whole
    assert not list(cache.rglob("*.part"))
    written = {p.name: p.stat().st_mtime_ns for p in left}

    again = _start(file, cache)
    out, err = again.communicate(timeout=300)
    assert again.returncode == 0, err
    assert out
    done = _chunks(cache)
    assert len(done) == whole
    kept = {p.name: p.stat().st_mtime_ns for p in done if p.name in written}
    assert kept == written  # finished chunks were read, not solved again


def test_resumed_is_the_same_as_in_one_go(tmp_path: Path) -> None:
    """Rows know nothing of their chunk: solved alone, the last rows are those of the whole."""
    from halfsplit.faults.dictionary import predict
    from halfsplit.faults.hypotheses import single_faults
    from tests.simulator import tray

    machine, condition = tray.tray(), Condition("raws", "half")
    faults = [h.changes for h in single_faults(machine.assembly)[:12]]
    whole, part = (predict(machine, condition, f) for f in (faults, faults[8:]))
    for name in ("mean", "spread", "ohms"):
        assert np.array_equal(getattr(whole, name)[8:], getattr(part, name)), name
