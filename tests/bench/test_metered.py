"""What is kept between readings: rows with a meter on, and what faults take along by feed."""

from __future__ import annotations

import shutil
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.bench import metered
from halfsplit.bench.session import Session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


def opened(name: str, folder: Path) -> Session:
    """A session on a copy of a demo, so that its journal goes beside it."""
    return Session(Path(shutil.copy(EXAMPLES / name, folder)))


def test_no_row_is_solved_twice_with_the_same_meter_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every reading weighs the earlier ones again; what they should read was worked out then."""
    solved: list[tuple[Any, ...]] = []
    real = metered.load

    def counted(machine: Any, condition: Any, faults: Any, *rest: Any, **more: Any) -> Any:
        pos, neg = rest[2:4]
        solved.extend((condition, pos, neg, repr(sorted(f.items()))) for f in faults)
        return real(machine, condition, faults, *rest, **more)

    monkeypatch.setattr(metered, "load", counted)
    with opened("type88/supply.yaml", tmp_path) as session:
        session.set_condition(Condition("raws", "half"))
        standard = len(session.standard)
        for net, text in (("gb", "61.00"), ("p250", "298.73")):
            session.read(net, text, sure=True)
            session.groups()
        sets = [s for s in solved if s[1] == "gb"][standard:]
        # Two sets may come to the same values: R6 high at 0.3 of that, low at 1.2.
        alike = Counter(repr(sorted(h.changes.items())) for h in session.hypotheses)
        assert sets and all(n <= max(alike[row[3]], 1) for row, n in Counter(sets).items())


def test_what_a_fault_takes_along_goes_by_the_feed_now_used(tmp_path: Path) -> None:
    """A shorted rectifier blows the fuse of the transformer it hangs on, and none on the bench."""
    with opened("type88/supply.yaml", tmp_path) as session:
        found = {}
        for feed in ("raws", "mains", "raws"):
            session.set_condition(Condition(feed, "half"))
            found[feed] = {t.part for t in session.taken_along("V1 short")}
            assert found[feed] == {t.part for t in session.taken_along("V1 short", feed)}
        assert "F1" in found["mains"] and "F1" not in found["raws"]
        session.set_condition(Condition("off", "none"))  # it was run on what it was run on last
        assert {t.part for t in session.taken_along("V1 short")} == found["raws"]


@pytest.mark.parametrize("feed", ["raw", "off"])
def test_a_switcher_was_run_at_a_load_it_is_rated_for(feed: str, tmp_path: Path) -> None:
    """Not into the short circuit its file lists last, where nothing works as it should."""
    with opened("stile17/ob8.yaml", tmp_path) as session:
        assert session._run_in(feed) == [Condition("raw", "full")]
