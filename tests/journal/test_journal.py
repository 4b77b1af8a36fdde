"""The journal keeps what it acknowledged and changes nothing."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfsplit.journal import (
    Journal,
    journal_path,
)
from halfsplit.problems import NotFoundError
from tests.journal.helpers import outside, seqs

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
    "entry_new": """CREATE TRIGGER entry_new BEFORE INSERT ON entry
  WHEN EXISTS (SELECT 1 FROM entry WHERE seq = NEW.seq OR key = NEW.key)
  BEGIN SELECT RAISE(ABORT, 'journal entries are never replaced'); END""",
}


# -- format ---------------------------------------------------------------------------------------


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


# -- nothing is changed ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE entry SET body = '{}'", "never changed"),
        ("UPDATE entry SET seq = 9 WHERE seq = 1", "never changed"),
        ("UPDATE OR REPLACE entry SET seq = 2 WHERE seq = 1", "never changed"),
        ("DELETE FROM entry", "never deleted"),
        ("DELETE FROM entry WHERE seq = 1", "never deleted"),
        ("INSERT OR REPLACE INTO entry (seq, at, kind, body) VALUES (1, '', '', '{}')", "replaced"),
        ("REPLACE INTO entry (at, kind, body, key) VALUES ('', '', '{}', 'k')", "never replaced"),
        (
            "INSERT INTO entry (seq, at, kind, body) VALUES (1, '', '', '{}')"
            " ON CONFLICT (seq) DO UPDATE SET kind = 'x'",
            "never replaced",
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


# -- append ---------------------------------------------------------------------------------------


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


# -- undo -----------------------------------------------------------------------------------------


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


def test_a_stranger_without_our_settings_cannot_replace_a_row(journal: Journal, path: Path) -> None:
    """Its connection has recursive triggers off: INSERT OR REPLACE must fail there as well."""
    journal.append("note", {"text": "first"}, key="k")
    stranger = sqlite3.connect(path)
    try:
        for seq, key in ((1, None), (7, "k")):
            with pytest.raises(sqlite3.IntegrityError, match="never replaced"):
                stranger.execute(
                    "INSERT OR REPLACE INTO entry VALUES (?, 'now', 'note', '{}', ?)", (seq, key)
                )
    finally:
        stranger.close()
    assert [dict(e.body) for e in journal.entries()] == [{"text": "first"}]


def test_an_undo_is_not_written_by_hand(journal: Journal) -> None:
    with pytest.raises(ValueError, match=r"Journal\.undo"):
        journal.append("undo", {})
    assert journal.history() == []
