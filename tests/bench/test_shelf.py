"""The shelf: every machine under a folder, and where each was left, without solving anything."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from tests.cli.conftest import EXAMPLES, TRAY

from halfsplit.bench.noting import Noter
from halfsplit.bench.shelf import Claim, Found, Shelf, ShelfBusyError, glimpse, keep, thorough
from halfsplit.journal import JournalWriteError, glance, journal_path, peek


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HALFSPLIT_CACHE", str(tmp_path / "cache"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(EXAMPLES, tmp_path / "shelf", ignore=shutil.ignore_patterns("*.journal*"))
    return tmp_path / "shelf"


def tray(folder: Path) -> Found:
    (found,) = [f for f in Shelf(folder).scan() if f.path.name == "pt3.yaml"]
    return found


def test_each_sort_of_file_is_found_and_fault_scripts_are_not(folder: Path) -> None:
    found = {f.key: (f.sort, f.name, f.machine) for f in Shelf(folder).scan()}
    assert found["hd40/pt3.yaml"] == ("assembly", "Power tray PT-3", "HD-40 line concentrator")
    assert found["quillon16/boards.yaml"][0] == "boards"
    assert found["quillon16/console.yaml"][0] == "console"
    assert len(found) == 6 and not any("as-found" in key for key in found)


def test_folders_too_deep_hidden_or_of_programs_are_left_out(tmp_path: Path) -> None:
    for place in ("a/b/c/d", "a/b/c/d/e", ".venv", "node_modules/x", "near"):
        (tmp_path / place).mkdir(parents=True)
        shutil.copy(TRAY, tmp_path / place / "pt3.yaml")
    (tmp_path / "round").symlink_to(tmp_path)
    (tmp_path / "text.yaml").write_text("title: a letter\n", encoding="utf-8")
    keys = sorted(f.key for f in Shelf(tmp_path).scan())
    assert keys == ["a/b/c/d/pt3.yaml", "near/pt3.yaml"]


def test_search_and_pages(tmp_path: Path) -> None:
    for number in range(45):
        text = f"assembly: Unit {number}\nmachine: Thing\nparts:\n"
        (tmp_path / f"u{number:02d}.yaml").write_text(text, encoding="utf-8")
    shelf = Shelf(tmp_path)
    first, last = shelf.page(), shelf.page("", 99)
    assert (first.total, first.pages, len(first.rows)) == (45, 3, 20)
    assert (last.page, len(last.rows)) == (3, 5)
    assert {f.name for f in shelf.page("UNIT u40").rows} == {"Unit 40"}
    assert {f.name for f in shelf.page("thing u17").rows} == {"Unit 17"}
    assert shelf.page("nonesuch").total == 0


def test_a_key_the_shelf_did_not_list_is_nothing(folder: Path, tmp_path: Path) -> None:
    shutil.copy(TRAY, tmp_path / "outside.yaml")
    shelf = Shelf(folder)
    assert shelf.find("hd40/pt3.yaml") == ((folder / "hd40" / "pt3.yaml").resolve(), "assembly")
    for key in ("../outside.yaml", str(tmp_path / "outside.yaml"), "hd40/../../outside.yaml", ""):
        assert shelf.find(key) is None


def test_where_it_was_left_is_what_the_journal_says(folder: Path) -> None:
    row = glimpse(tray(folder))
    assert (row["state"], row["readings"], row["last"], row["hazards"]) == ("fresh", 0, 0, None)
    file = tray(folder).path
    with Noter(file) as noter:
        noter.set_condition(noter.condition_from("raws", "half"))
        noter.read("p5", "1.10")
        noter.change("R12 lift a")
        noter.read("n12", "-1.71")
        noter.undo()
        noter.change("F4 bypassed")
        undone = noter.undo()
        noter.undo(undone.seq)  # the link is back
    row = thorough(tray(folder))
    with glance(journal_path(file)) as journal:
        truth = Noter(file, journal=journal)
        assert row["condition"] == truth.condition.words()
        assert row["open_items"] == [str(c) for c in truth.open_items()]
        assert row["readings"] == len(truth.evidence()) == 1
        assert row["entries"] == len(truth.entries)
    assert (row["state"], row["last"]) == ("at work", 8)
    assert any("F4" in h and "that protection is out" in h for h in row["hazards"])


def test_hazards_are_kept_until_file_or_journal_change(folder: Path) -> None:
    found = tray(folder)
    assert glimpse(found)["hazards"] is None
    kept = thorough(found)["hazards"]
    assert any("C1 may hold" in h for h in kept)
    assert glimpse(found)["hazards"] == kept
    with Noter(found.path) as noter:
        noter.read("p5", "1.10")
    assert glimpse(found)["hazards"] is None
    thorough(found)
    found.path.write_text(found.path.read_text("utf-8") + "\n# a remark\n", "utf-8")
    assert glimpse(found)["hazards"] is None


def test_what_was_to_be_done_next_says_when_it_was_worked_out(folder: Path) -> None:
    found = tray(folder)
    with Noter(found.path) as noter:
        entry = noter.read("p5", "1.10")
        known = {"next": "Direct volts at N12", "next_at": entry.seq, "state": "at work"}
        keep(found.path, known)
        assert (glimpse(found)["next"], glimpse(found)["stale"]) == ("Direct volts at N12", False)
        noter.read("n12", "-1.71")
        assert (glimpse(found)["next_at"], glimpse(found)["stale"]) == (1, True)


def test_a_damaged_or_foreign_journal_is_said_in_its_row(folder: Path) -> None:
    found = tray(folder)
    journal_path(found.path).write_bytes(b"no journal" * 500)
    row = thorough(found)
    assert "cannot be read" in row["trouble"] and row["readings"] == 0


def test_a_look_changes_nothing_and_needs_no_lock(folder: Path) -> None:
    found = tray(folder)
    with Noter(found.path) as noter:
        noter.read("p5", "1.10")
        before = journal_path(found.path).read_bytes()
        assert peek(journal_path(found.path)).last == 1
        with glance(journal_path(found.path)) as journal, pytest.raises(JournalWriteError):
            journal.append("read", {})
        assert journal_path(found.path).read_bytes() == before
    with glance(found.path.with_name("none.journal")) as journal:
        assert journal.entries() == []
    assert not found.path.with_name("none.journal").exists()


def test_one_server_at_a_time(tmp_path: Path) -> None:
    first = Claim(tmp_path)
    first.told("http://127.0.0.1:8463")
    with pytest.raises(ShelfBusyError, match=r"already open at http://127\.0\.0\.1:8463"):
        Claim(tmp_path)
    first.free()
    Claim(tmp_path).free()
