"""A journal goes out as text or JSON, and comes back from JSON whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from halfsplit.journal import (
    Journal,
    JournalWriteError,
)
from halfsplit.problems import HalfsplitError, ProblemsError
from tests.journal.helpers import no_leftover, seqs

# -- export and import ----------------------------------------------------------------------------


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
