"""A slice of proofs/beat_spreads.py: specimens whose beat a fault changes read as they are told."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session
from halfsplit.faults import beats
from tests.simulator.beat_specimens import beat_specimens

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "stile17" / "ob8.yaml"
AT = Condition("raw", "half")


def test_a_beat_six_times_as_fast_spreads_wider_than_the_good_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """C5 open: `cmp` of specimens lies between 1.0 and 1.8 V, by slopes of the good machine between
    1.1 and 1.4."""
    off = []
    for n, share in enumerate(((beats.FASTER, beats.FASTER_SWING), (0.0, 0.0))):
        monkeypatch.setattr(beats, "FASTER", share[0])
        monkeypatch.setattr(beats, "FASTER_SWING", share[1])
        folder = tmp_path / str(n)
        folder.mkdir()
        with Session(Path(shutil.copy(EXAMPLE, folder))) as session:
            (found,) = beat_specimens(session, AT, 4, ["C5 open"])
        assert found.ratio < 0.2 and len(found.off) == 4
        off.append(found.off[:, found.nets.index("cmp")])
    assert off[0].max() < 2.0 < off[1].max()


def test_halvings_count_only_faster_beats() -> None:
    period = np.array([40e-6, 10e-6, 80e-6, 0.0])
    assert beats.halvings(period, 40e-6).tolist() == [0.0, 2.0, 0.0, 0.0]
    assert beats.halvings(period, 0.0).tolist() == [0.0] * 4
