"""The journal keeps what it acknowledged, changes nothing, and says so when it cannot store."""

from __future__ import annotations

import json
import random
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfsplit.journal import (
    Entry,
    Journal,
    JournalBusyError,
    JournalDamagedError,
    JournalWriteError,
    journal_path,
)
from halfsplit.journal.lock import acquire
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError, ProblemsError

# The format on disk, version 1. A journal must stay readable for decades: changing this text needs
# a new version number and a way to read the old one.
SCHEMA = {
    "entry": """CREATE TABLE entry (
  seq INTEGER PRIMARY KEY AUTOINCREMENT,
  at TEXT NOT NULL,
  kind TEXT NOT NULL,
  body TEXT NOT NULL CHECK (json_valid(body)),
  key TEXT UNIQUE
) STRICT""",
    "entry_kept": """CREATE TRIGGER entry_kept BEFORE UPDATE ON entry
  BEGIN SELECT RAISE(ABORT, 'journal entries are never changed'); END""",
    "entry_stays": """CREATE TRIGGER entry_stays BEFORE DELETE ON entry
  BEGIN SELECT RAISE(ABORT, 'journal entries are never deleted'); END""",
}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "pt3.journal"


@pytest.fixture
def journal(path: Path) -> Iterator[Journal]:
    with Journal.open(path) as opened:
        yield opened


def seqs(entries: list[Entry]) -> list[int]:
    return [e.seq for e in entries]


def outside(path: Path) -> sqlite3.Connection:
    """The file as any other program sees it, without our settings."""
    return sqlite3.connect(path, isolation_level=None)


def no_leftover(path: Path) -> None:
    """The failed open freed the lock for the next."""
    lock = acquire(path.parent / (path.name + ".lock"), 0)
    assert lock is not None
    lock.close()


# -- format ----------------------------------------------------------------------------------


def test_format_on_disk_is_version_1_to_the_letter(journal: Journal, path: Path) -> None:
    rows = journal._db.execute(
        "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite_%'"
    )
    assert dict(rows.fetchall()) == SCHEMA
    assert journal._db.execute("PRAGMA user_version").fetchone() == (1,)


def test_every_commit_is_synchronised_with_its_folder(journal: Journal) -> None:
    assert journal._db.execute("PRAGMA synchronous").fetchone() == (3,)  # 3 is EXTRA
    assert journal._db.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_path_beside_the_assembly_file() -> None:
    assert journal_path(Path("a/b.c/pt3.yaml")) == Path("a/b.c/pt3.journal")


# -- nothing is changed ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE entry SET body = '{}'", "never changed"),
        ("UPDATE entry SET seq = 9 WHERE seq = 1", "never changed"),
        ("UPDATE OR REPLACE entry SET seq = 2 WHERE seq = 1", "never changed"),
        ("DELETE FROM entry", "never deleted"),
        ("DELETE FROM entry WHERE seq = 1", "never deleted"),
        ("INSERT OR REPLACE INTO entry (seq, at, kind, body) VALUES (1, '', '', '{}')", "deleted"),
        ("REPLACE INTO entry (at, kind, body, key) VALUES ('', '', '{}', 'k')", "never deleted"),
        (
            "INSERT INTO entry (seq, at, kind, body) VALUES (1, '', '', '{}')"
            " ON CONFLICT (seq) DO UPDATE SET kind = 'x'",
            "never changed",
        ),
        ("INSERT INTO entry (at, kind, body) VALUES ('', '', 'no json')", "CHECK"),
        ("INSERT INTO entry (at, kind, body) VALUES (NULL, '', '{}')", "NOT NULL"),
    ],
)
def test_rows_cannot_be_changed(journal: Journal, statement: str, words: str) -> None:
    journal.append("read", {"v": 1}, key="k")
    journal.append("read", {"v": 2})
    before = journal.history()
    with pytest.raises(sqlite3.IntegrityError, match=words):
        journal._db.execute(statement)
    assert journal.history() == before


@pytest.mark.parametrize("statement", ["UPDATE entry SET body = '{}'", "DELETE FROM entry"])
def test_other_programs_cannot_change_rows_either(path: Path, statement: str) -> None:
    with Journal.open(path) as journal:
        journal.append("read", {"v": 1})
    db = outside(path)
    with pytest.raises(sqlite3.IntegrityError, match="never"):
        db.execute(statement)
    db.close()


def test_numbers_are_never_given_twice(path: Path) -> None:
    with Journal.open(path) as journal:
        assert [journal.append("read", {"v": i}).seq for i in range(3)] == [1, 2, 3]
    with Journal.open(path) as journal:
        assert journal.append("read", {"v": 3}).seq == 4


# -- append ----------------------------------------------------------------------------------


def test_an_entry_comes_back_as_given(path: Path) -> None:
    body = {"net": "p5", "text": "4,98 V – 2 Ω µ", "value": 4.98, "none": None, "list": [1, "ü"]}
    at = datetime(2024, 2, 29, 13, 5, 59, 123456, tzinfo=timezone(timedelta(hours=-3.5)))
    with Journal.open(path) as journal:
        given_back = journal.append("read", body, key="k", at=at)
    with Journal.open(path) as journal:
        (found,) = journal.entries()
    assert found == given_back
    assert (found.seq, found.kind, dict(found.body), found.key) == (1, "read", body, "k")
    assert found.at == at and found.at.utcoffset() == timedelta(0)


def test_time_is_now_unless_given(journal: Journal) -> None:
    before = datetime.now(UTC)
    entry = journal.append("read", {})
    assert before <= entry.at <= datetime.now(UTC)


def test_same_key_and_body_is_stored_once(journal: Journal) -> None:
    first = journal.append("read", {"a": 1, "b": 2}, key="k")
    again = journal.append("read", {"b": 2, "a": 1}, key="k")
    assert again == first
    assert seqs(journal.history()) == [1]
    assert journal.append("read", {"a": 1, "b": 2}).seq == 2  # without a key it is a new reading


@pytest.mark.parametrize(("kind", "body"), [("read", {"v": 2}), ("observe", {"v": 1})])
def test_key_for_something_else_is_refused(journal: Journal, kind: str, body: Any) -> None:
    journal.append("read", {"v": 1}, key="k")
    with pytest.raises(ValueError, match="entry 1"):
        journal.append(kind, body, key="k")
    assert seqs(journal.history()) == [1]


# -- undo ------------------------------------------------------------------------------------


def test_undo_takes_the_last_entry_in_force(journal: Journal) -> None:
    for v in range(3):
        journal.append("read", {"v": v})
    assert journal.undo().body["undoes"] == 3
    assert journal.undo(why="misread").body == {"undoes": 2, "why": "misread"}
    assert seqs(journal.entries()) == [1]
    assert [e.undone for e in journal.history()] == [False, True, True, False, False]


def test_undo_by_number(journal: Journal) -> None:
    for v in range(3):
        journal.append("read", {"v": v})
    journal.undo(1)
    assert seqs(journal.entries()) == [2, 3]


def test_undo_of_undo_brings_the_entry_back_and_can_be_undone_again(journal: Journal) -> None:
    journal.append("read", {"v": 1})
    undo = journal.undo(1)
    assert journal.entries() == []
    redo = journal.undo(undo.seq)
    assert seqs(journal.entries()) == [1]
    assert [e.undone for e in journal.history()] == [False, True, False]
    journal.undo(redo.seq)
    assert journal.entries() == []


@pytest.mark.parametrize("seq", [0, -1, 3, 10**30])
def test_undo_of_an_unknown_entry_names_what_can_be_undone(journal: Journal, seq: int) -> None:
    journal.append("read", {"v": 1})
    journal.append("read", {"v": 2})
    with pytest.raises(NotFoundError, match=rf"no entry {seq} .*\[1, 2\]"):
        journal.undo(seq)
    assert seqs(journal.history()) == [1, 2]


def test_undo_of_an_undone_entry_is_refused(journal: Journal) -> None:
    journal.append("read", {"v": 1})
    journal.undo(1)
    with pytest.raises(NotFoundError, match=r"no entry 1 in force.*\[2\]"):
        journal.undo(1)


def test_undo_with_nothing_left_says_so(journal: Journal) -> None:
    with pytest.raises(NotFoundError, match="nothing to undo"):
        journal.undo()
    with pytest.raises(NotFoundError, match="nothing to undo"):
        journal.undo(4)
    journal.append("read", {"v": 1})
    journal.undo()
    with pytest.raises(NotFoundError, match=r"every entry is undone.*\[2\]"):
        journal.undo()


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("append"), st.sampled_from([None, "k1", "k2"]), st.integers(0, 2)),
        st.tuples(st.just("undo"), st.one_of(st.none(), st.integers(-1, 12))),
        st.tuples(st.just("reopen")),
    ),
    max_size=20,
)


@settings(max_examples=40, deadline=None)
@given(steps=STEPS)
def test_append_and_undo_follow_a_plain_model(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[Any, ...]]
) -> None:
    """The model: a list of rows, and in force is what no undo in force names, asked directly."""
    path = tmp_path_factory.mktemp("model") / "j.journal"
    rows: list[tuple[str, Any, str | None]] = []  # kind, value or undone number, key

    def in_force(number: int) -> bool:
        return not any(
            kind == "undo" and what == number and in_force(i)
            for i, (kind, what, _) in enumerate(rows, 1)
        )

    journal = Journal.open(path)
    try:
        for step, *given_ in steps:
            if step == "reopen":
                journal.close()
                journal = Journal.open(path)
            elif step == "append":
                key, value = given_
                held = [i for i, row in enumerate(rows, 1) if key and row[2] == key]
                if not held:
                    rows.append(("read", value, key))
                    assert journal.append("read", {"v": value}, key=key).seq == len(rows)
                elif rows[held[0] - 1][1] == value:
                    assert journal.append("read", {"v": value}, key=key).seq == held[0]
                else:
                    with pytest.raises(ValueError, match="differs"):
                        journal.append("read", {"v": value}, key=key)
            else:
                numbers = [i for i in range(1, len(rows) + 1) if in_force(i)]
                if given_[0] is None:
                    numbers = [i for i in numbers if rows[i - 1][0] != "undo"][-1:]
                else:
                    numbers = [i for i in numbers if i == given_[0]]
                if numbers:
                    assert journal.undo(given_[0]).body["undoes"] == numbers[0]
                    rows.append(("undo", numbers[0], None))
                else:
                    with pytest.raises(NotFoundError):
                        journal.undo(given_[0])
            history = journal.history()
            assert [(e.kind, e.key) for e in history] == [(k, key) for k, _, key in rows]
            assert [not e.undone for e in history] == [in_force(e.seq) for e in history]
            assert seqs(journal.entries()) == [
                i for i, row in enumerate(rows, 1) if row[0] != "undo" and in_force(i)
            ]
    finally:
        journal.close()


# -- what cannot be opened or written --------------------------------------------------------


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


# -- two processes ---------------------------------------------------------------------------

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


# -- export and import -----------------------------------------------------------------------


def filled(path: Path) -> dict[str, Any]:
    with Journal.open(path) as journal:
        journal.append("read", {"text": "4.98 V", "Ω": [1.5, None]}, key="k")
        journal.append("observe", {"text": "line\nbreak"})
        journal.undo(1)
        return journal.export_json()


def test_text_export_has_one_line_an_entry(path: Path) -> None:
    filled(path)
    with Journal.open(path) as journal:
        text = journal.export_text()
        stamps = [e.at.isoformat(timespec="seconds") for e in journal.history()]
    assert text.splitlines() == [
        f'#1 {stamps[0]} read (undone) {{"text": "4.98 V", "Ω": [1.5, null]}}',
        f'#2 {stamps[1]} observe {{"text": "line\\nbreak"}}',
        f'#3 {stamps[2]} undo {{"undoes": 1, "why": ""}}',
    ]


def test_empty_journal_exports_as_nothing(journal: Journal) -> None:
    assert journal.export_text() == ""
    assert journal.export_json() == {"halfsplit_journal": 1, "entries": []}


def test_json_export_comes_back_entry_for_entry(path: Path, tmp_path: Path) -> None:
    document = json.loads(json.dumps(filled(path)))
    other = tmp_path / "other.journal"
    with Journal.open(path) as journal, Journal.import_json(document, other) as copy:
        assert copy.history() == journal.history()
        assert copy.export_json() == document
        assert copy.append("read", {"v": 2}).seq == 4


def test_gaps_in_the_numbers_survive(tmp_path: Path) -> None:
    entry = {"at": "2024-01-01T00:00:00+01:00", "kind": "read", "body": {}, "key": None}
    document = {"halfsplit_journal": 1, "entries": [{**entry, "seq": 3}, {**entry, "seq": 8}]}
    with Journal.import_json(document, tmp_path / "j.journal") as journal:
        assert seqs(journal.history()) == [3, 8]
        assert journal.append("read", {}).seq == 9


def test_import_into_an_existing_file_is_refused(path: Path) -> None:
    document = filled(path)
    before = path.read_bytes()
    with pytest.raises(HalfsplitError, match="already exists"):
        Journal.import_json(document, path)
    assert path.read_bytes() == before


GOOD = {"seq": 1, "at": "2024-01-01T00:00:00+00:00", "kind": "read", "body": {}, "key": None}


@pytest.mark.parametrize(
    "document",
    [
        [],
        None,
        "text",
        {},
        {"halfsplit_journal": 1},
        {"halfsplit_journal": 1, "entries": {}},
        {"halfsplit_journal": 2, "entries": []},
        *(
            {"halfsplit_journal": 1, "entries": rows}
            for rows in (
                [None],
                ["row"],
                [[]],
                [{}],
                [{**GOOD, "seq": 0}],
                [{**GOOD, "seq": "1"}],
                [{**GOOD, "seq": True}],
                [{**GOOD, "seq": 1.0}],
                [{**GOOD, "seq": 10**30}],
                [GOOD, GOOD],
                [{**GOOD, "seq": 2}, GOOD],
                [{**GOOD, "at": "yesterday"}],
                [{**GOOD, "at": 7}],
                [{**GOOD, "at": "2024-01-01T00:00:00"}],
                [{**GOOD, "kind": ""}],
                [{**GOOD, "kind": 5}],
                [{**GOOD, "body": []}],
                [{**GOOD, "body": "x"}],
                [{**GOOD, "body": {"v": float("nan")}}],
                [{**GOOD, "key": 5}],
                [{**GOOD, "key": "k"}, {**GOOD, "seq": 2, "key": "k"}],
                [{**GOOD, "kind": "undo"}],
                [{**GOOD, "kind": "undo", "body": {"undoes": 1}}],
                [GOOD, {**GOOD, "seq": 2, "kind": "undo", "body": {"undoes": "1"}}],
            )
        ),
    ],
)
def test_a_bad_document_makes_no_journal(path: Path, document: Any) -> None:
    with pytest.raises(ProblemsError) as caught:
        Journal.import_json(document, path)
    assert caught.value.problems
    assert not path.exists()


def test_every_bad_entry_of_a_document_is_named(path: Path) -> None:
    rows = [GOOD, {**GOOD, "seq": 2, "at": ""}, {**GOOD, "seq": 3}, {"seq": 4}]
    with pytest.raises(ProblemsError) as caught:
        Journal.import_json({"halfsplit_journal": 1, "entries": rows}, path)
    assert [p.path for p in caught.value.problems] == ["entries.1", "entries.3"]


def test_text_sqlite_cannot_hold_leaves_no_half_journal(path: Path) -> None:
    document = {"halfsplit_journal": 1, "entries": [GOOD, {**GOOD, "seq": 2, "kind": "\udcff"}]}
    with pytest.raises(JournalWriteError, match="nothing was imported"):
        Journal.import_json(document, path)
    assert not path.exists()
    no_leftover(path)
