"""What is changed on a bench for a reading's sake, and when nothing is."""

from __future__ import annotations

from pathlib import Path

from tests.bench.test_search import LADDER

from halfsplit.assembly.condition import Condition
from halfsplit.bench.elsewhere import SOUND, undone
from halfsplit.bench.session import Session

# By hand: the ladder's 12 V over 1k + 2k2 + 1k5 and over 4k7 + 3k3.
SOUND_READS = {"upper": "9.45", "lower": "3.83", "side": "4.95"}
# R5 at twice its value: 12 V * 6.6 / 11.3; R4 at half its value reads within a tenth of it.
DOUBTFUL = SOUND_READS | {"side": "7.01"}


def opened(folder: Path, read: dict[str, str]) -> Session:
    (folder / "ladder.yaml").write_text(LADDER)
    session = Session(folder / "ladder.yaml")
    session.set_condition(Condition("supply", "none"))
    for net, volts in read.items():
        session.read(net, volts)
    return session


def test_no_lead_is_lifted_from_a_machine_that_is_sound_by_all_its_readings(tmp_path: Path) -> None:
    with opened(tmp_path, SOUND_READS) as session:
        lead = session.groups()[0]
        assert session.hypotheses[lead.members[0]].name == "no fault"
        assert lead.weight >= SOUND
        assert undone(session) == []


def test_one_of_a_leading_suspect_is(tmp_path: Path) -> None:
    with opened(tmp_path, DOUBTFUL) as session:
        asked = {c.part for condition in undone(session) for c in condition.changes}
        assert asked & {"R4", "R5"}
