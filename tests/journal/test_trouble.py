"""A journal that cannot be opened, read or written says so; two processes never mix."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from halfsplit.journal import (
    Journal,
    JournalBusyError,
    JournalDamagedError,
    JournalWriteError,
)
from halfsplit.problems import ExitCode
from tests.journal.helpers import no_leftover, outside, seqs

# -- what cannot be opened or written -------------------------------------------------------------


def test_newer_format_is_refused_and_left_alone(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.append("read", {"v": 1})
    db = outside(path)
    db.execute("PRAGMA user_version = 2")
    db.close()
    before = path.read_bytes()
    with pytest.raises(JournalDamagedError, match=r"newer Halfsplit \(format 2\); update"):
        Journal.open(path)
    assert path.read_bytes() == before
    no_leftover(path)


@pytest.mark.parametrize("version", [0, 1, 2, -3])
def test_another_programs_database_is_refused_and_left_alone(path: Path, version: int) -> None:
    db = outside(path)
    db.execute("CREATE TABLE things (a)")
    db.execute(f"PRAGMA user_version = {version}")
    db.close()
    before = path.read_bytes()
    with pytest.raises(JournalDamagedError, match="not a journal") as caught:
        Journal.open(path)
    assert caught.value.exit_code == ExitCode.PROBLEMS
    assert path.read_bytes() == before
    no_leftover(path)


def test_a_journal_without_its_guards_is_refused(path: Path) -> None:
    Journal.open(path).close()
    db = outside(path)
    db.execute("DROP TRIGGER entry_stays")
    db.close()
    with pytest.raises(JournalDamagedError, match="not a journal"):
        Journal.open(path)


@pytest.mark.parametrize(
    "content", [b"p5=4.98\n" * 200, b"\0" * 4096, random.Random(1).randbytes(5000)]
)
def test_a_file_that_is_no_database_is_refused_and_left_alone(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    with pytest.raises(JournalDamagedError, match="damaged or no journal"):
        Journal.open(path)
    assert path.read_bytes() == content
    no_leftover(path)


def test_damage_anywhere_is_an_error_in_words_never_a_wrong_row(path: Path) -> None:
    """Random bytes over random places: the right rows, or a refusal, nothing in between."""
    with Journal.open(path) as journal:
        for v in range(60):
            journal.append("read", {"v": v, "text": f"{v}.00 V", "pad": "x" * 200})
        good = journal.history()
    whole = path.read_bytes()
    assert len(whole) > 4 * 4096
    dice, refused = random.Random(20240229), 0
    for _ in range(60):
        damaged = bytearray(whole)
        at, length = dice.randrange(len(whole)), dice.choice([1, 16, 600, 4096])
        damaged[at : at + length] = dice.randbytes(len(damaged[at : at + length]))
        if dice.random() < 0.2:
            damaged = damaged[: dice.randrange(1, len(damaged))]
        path.write_bytes(damaged)
        try:
            with Journal.open(path) as journal:
                found = journal.history()
        except (JournalDamagedError, JournalWriteError) as error:
            refused += 1
            assert str(path) in str(error)
            no_leftover(path)
        else:
            # A byte inside a stored text cannot be told from another text; the rest must stand.
            assert seqs(found) == seqs(good)
    assert refused > 20


def test_a_row_that_makes_no_sense_is_damage(path: Path) -> None:
    with Journal.open(path) as journal:
        journal._db.execute("INSERT INTO entry (at, kind, body) VALUES ('yesterday', 'read', '{}')")
        with pytest.raises(JournalDamagedError, match=r"damaged.*restore"):
            journal.history()


def test_damage_is_found_when_opening_before_anything_is_added(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.append("read", {"v": 1})
    db = outside(path)
    db.execute("PRAGMA ignore_check_constraints = ON")
    db.execute("INSERT INTO entry (at, kind, body) VALUES ('2024-01-01T00:00:00Z', 'x', '{')")
    db.close()
    with pytest.raises(JournalDamagedError, match="CHECK constraint"):
        Journal.open(path)
    no_leftover(path)


def test_a_folder_where_the_journal_should_be(path: Path) -> None:
    path.mkdir()
    with pytest.raises(JournalWriteError, match="cannot be used"):
        Journal.open(path)
    no_leftover(path)


def test_no_folder_to_keep_it_in(tmp_path: Path) -> None:
    with pytest.raises(JournalWriteError, match="no journal can be kept here"):
        Journal.open(tmp_path / "gone" / "pt3.journal")
    (tmp_path / "file").write_text("")
    with pytest.raises(JournalWriteError, match="no journal can be kept here"):
        Journal.open(tmp_path / "file" / "pt3.journal")


def test_full_disk_says_not_stored_and_stores_nothing(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.append("read", {"v": 1})
        pages = journal._db.execute("PRAGMA page_count").fetchone()[0]
        journal._db.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(JournalWriteError, match=r"NOT stored .*full") as caught:
            journal.append("read", {"text": "x" * 50_000}, key="k")
        assert caught.value.exit_code == ExitCode.PROBLEMS
        assert seqs(journal.history()) == [1]
        journal._db.execute("PRAGMA max_page_count = 1000000")
        assert journal.append("read", {"text": "x" * 50_000}, key="k").seq == 2  # room was made
    with Journal.open(path) as journal:
        assert seqs(journal.entries()) == [1, 2]


def test_a_write_refused_by_the_system_says_not_stored(journal: Journal) -> None:
    journal._db.execute("PRAGMA query_only = ON")
    with pytest.raises(JournalWriteError, match="NOT stored"):
        journal.append("read", {"v": 1})
    with pytest.raises(JournalWriteError, match="NOT stored"):
        journal._db.execute("PRAGMA query_only = OFF")
        journal.append("observe", {"text": "\udcff"})  # a stray byte from the command line
    assert journal.history() == []
    assert journal.append("read", {"v": 1}).seq == 1


def test_a_body_json_cannot_hold_is_not_stored(journal: Journal) -> None:
    with pytest.raises(JournalWriteError, match="NOT stored"):
        journal.append("read", {"v": float("nan")})
    assert journal.history() == []


# -- two processes --------------------------------------------------------------------------------

HOLD = """
import sys
from pathlib import Path
from halfsplit.journal import Journal
with Journal.open(Path(sys.argv[1])) as journal:
    journal.append("read", {"v": 1})
    print("held", flush=True)
    sys.stdin.read()
"""


def test_a_second_process_is_told_who_holds_it_then_gets_it(path: Path) -> None:
    command = [sys.executable, "-c", HOLD, str(path)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(JournalBusyError, match=f"in use by process {holder.pid};") as caught:
            Journal.open(path, wait=0.15)
        assert caught.value.exit_code == ExitCode.BUSY == 5
        holder.communicate("")
    with Journal.open(path, wait=0) as journal:
        assert seqs(journal.entries()) == [1]


def test_waiting_gets_the_journal_once_the_first_is_done(path: Path) -> None:
    code = HOLD.replace("sys.stdin.read()", "__import__('time').sleep(0.5)")
    with subprocess.Popen(
        [sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with Journal.open(path, wait=20) as journal:
            assert seqs(journal.entries()) == [1]


def test_many_processes_writing_at_once_lose_nothing(path: Path) -> None:
    code = """
import sys
from pathlib import Path
from halfsplit.journal import Journal
for i in range(10):
    with Journal.open(Path(sys.argv[1]), wait=60) as journal:
        print(journal.append("read", {"who": sys.argv[2], "i": i}).seq, flush=True)
"""
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(path), str(n)], stdout=subprocess.PIPE, text=True
        )
        for n in range(3)
    ]
    acknowledged = {}
    for n, run in enumerate(runs):
        printed, _ = run.communicate(timeout=120)
        assert run.returncode == 0
        acknowledged |= {int(s): (str(n), i) for i, s in enumerate(printed.split())}
    with Journal.open(path) as journal:
        stored = {e.seq: (e.body["who"], e.body["i"]) for e in journal.entries()}
    assert stored == acknowledged and len(stored) == 30
