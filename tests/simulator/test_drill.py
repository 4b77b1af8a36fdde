"""A seeded slice of the drill with ngspice behind the readings (whole: proofs/drill.py)."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "proofs"))

from drill import drill  # type: ignore[import-not-found]

from halfsplit.bench.drill import score


def test_single_faults_are_found() -> None:
    """The first three of the proof's single faults, seed 1, 45 of 45 when it was last run."""
    played, failed = drill("hd40", {"single": range(3)})
    assert failed == 0
    assert all(p.top and p.right for p in played), [(p.case.name, p.trail) for p in played]
    table = score(played)["single"]
    assert table["hazardous_checks"] == 0 and table["unanswered"] == 0


def test_a_healthy_machine_is_left_alone() -> None:
    (played,), failed = drill("hd40", {"healthy": [0]})
    assert failed == 0
    assert played.claimed is None and played.accused == 0, played.trail
