"""What is expected of a machine that beats by itself: duty and peak current, not only its hertz."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.bench.expect import expect
from halfsplit.bench.session import Session
from halfsplit.cli import expected
from halfsplit.faults.dictionary import DictionaryCache
from halfsplit.faults.predictions import Predictions

STILE = Path(__file__).resolve().parents[2] / "examples" / "stile17" / "ob8.yaml"


@pytest.fixture
def session(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Session:
    """The switcher, without the bands of its readings, for which it is followed part by part."""

    def bare(self: DictionaryCache, _: Condition, table: Predictions, *__: object) -> Predictions:
        return table

    monkeypatch.setattr(DictionaryCache, "sloped", bare)
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path / "cache"))
    return Session(Path(shutil.copy(STILE, tmp_path / "ob8.yaml")))


def test_duty_and_peak_of_a_switcher_by_hand(
    session: Session, capsys: pytest.CaptureFixture[str]
) -> None:
    """28 V to 4.97 V: (Vo + Vd) / (Vin - Vs + Vd) = 5.9 / 28.2 with a volt lost in either switch.
    Half load is 4 A, and in the on-time 22 V across 150 uH add half of (22 V / L) (duty / f)."""
    with session:
        half = session.condition_from("raw", "half")
        lines = expect(session, ["OUT", "sw:OUT"], [half], others=False)
        out = lines[0].as_dict()
        assert out["duty"] == pytest.approx(5.9 / 28.2, rel=0.04)
        swing = 22.0 / 150e-6 * out["duty"] / out["hertz"]
        assert out["choke_peaks"] == {"L1": pytest.approx(4.0 + swing / 2.0, rel=0.03)}
        assert lines[1].as_dict()["duty"] == out["duty"]
        # Across the choke: on average only what its wire drops.
        assert abs(lines[1].mean) < 0.1 and lines[1].ripple > 25.0
        expected.tables(lines, "If all is well", lambda _: [])
        said = capsys.readouterr().out
        assert said.count("its switch is on for 21 % of each beat; peak current L1 4.") == 1
        still = expect(session, ["OUT"], [session.condition_from("off", None)], others=False)[0]
        assert still.as_dict()["duty"] is None and still.as_dict()["choke_peaks"] == {}
