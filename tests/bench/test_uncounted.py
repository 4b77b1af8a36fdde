"""What was not looked at counts in what is claimed of the whole truth."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.bench.session import Session
from halfsplit.bench.uncounted import uncounted

TRAY = Path(__file__).resolve().parents[2] / "examples" / "hd40" / "pt3.yaml"


def test_sets_left_out_weigh_what_the_odds_of_one_more_fault_are(tmp_path: Path) -> None:
    """Of every further fault that shows nowhere its odds are left, less those of the sets that are
    listed; of faults that would have shown next to nothing is."""
    with Session(Path(shutil.copy(TRAY, tmp_path))) as session:
        session.set_condition(Condition("raws", "bench"))
        session.read("p12", "0.02", sure=True)
        listed, weights = session.hypotheses, session.belief.weights()
        names = {h.name for h in session.standard if h.faults}
        found = uncounted(session, names)
        assert found.shape == weights.shape and found.min() >= 0.0
        assert found[0] == 0.0  # every single fault is in the list
        single = np.array([len(h.faults) == 1 for h in listed])
        lead = int(np.argmax(np.where(single, weights, 0.0)))
        known = {h.plain for h in listed}
        most = sum(
            h.prior
            for h in session.standard
            if h.faults
            and h.parts[0] not in listed[lead].parts
            and h.plain | listed[lead].plain not in known
        )
        assert 0.2 * most < found[lead] <= most
        # Named one by one they add up.
        half = sorted(names)[: len(names) // 2]
        rest = names - set(half)
        parts = uncounted(session, half)[lead] + uncounted(session, rest)[lead]
        assert parts == pytest.approx(found[lead])
