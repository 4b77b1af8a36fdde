"""A reading once acknowledged survives the program being killed at any moment."""

from __future__ import annotations

import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

from halfsplit.bench import Session
from halfsplit.journal import Journal, journal_path

TRAY = Path(__file__).resolve().parents[2] / "examples" / "hd40" / "pt3.yaml"
READINGS, ROUNDS = 200, 5

# Each line is printed only after `read` came back: that is the acknowledgement.
CHILD = f"""
import sys
from pathlib import Path
from halfsplit.bench import Session
session = Session(Path(sys.argv[1]))
for i in range({READINGS}):
    text = f"{{sys.argv[2]}}.{{i:03d}}"
    print(session.read("p5", text).seq, text, flush=True)
"""


def killed_run(file: Path, number: int, dice: random.Random) -> tuple[bool, dict[int, str]]:
    """Start the child and kill it at a random moment.

    Returns whether that was in the middle, and what it acknowledged: number -> text.
    """
    with subprocess.Popen(
        [sys.executable, "-c", CHILD, str(file), str(number)], stdout=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None
        lines = [child.stdout.readline() for _ in range(dice.randrange(1, READINGS // 2))]
        time.sleep(dice.uniform(0.0, 0.01))  # anywhere inside one of the next writes
        child.send_signal(signal.SIGKILL)
        lines += child.stdout.readlines()
    whole = [line.split() for line in lines if line.endswith("\n")]
    middle = child.returncode == -signal.SIGKILL and 0 < len(whole) < READINGS
    return middle, {int(seq): text for seq, text in whole}


def test_every_acknowledged_reading_survives_a_kill(tmp_path: Path) -> None:
    file = tmp_path / "pt3.yaml"
    shutil.copy(TRAY, file)
    dice = random.Random(1958)
    acknowledged: dict[int, str] = {}
    killed = 0
    for number in range(4 * ROUNDS):  # a child that got to its end first does not count
        middle, new = killed_run(file, number, dice)
        killed += middle
        assert not acknowledged.keys() & new.keys(), "a number was given twice"
        acknowledged |= new
        with Journal.open(journal_path(file), wait=0) as journal:  # the dead hold no lock
            assert journal._db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            stored = {e.seq: e.body["text"] for e in journal.entries() if e.kind == "read"}
        assert acknowledged.items() <= stored.items()
        # Stored and not yet acknowledged: at most the one reading each kill interrupted.
        assert len(stored) - len(acknowledged) <= killed
        if killed == ROUNDS:
            break
    assert killed == ROUNDS
    with Session(file) as session:
        weighed = {e.number: e.text for e in session.evidence()}
    assert weighed == stored
