"""A file being typed while others edit it: on disk at once, the file believed, all taken back."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor, wait
from pathlib import Path
from typing import Any

import pytest

from halfsplit.assembly.entry_edit import ChangedError
from halfsplit.assembly.new_file import new_file
from halfsplit.bench.shelf import Shelf
from halfsplit.bench.typing_in import TypingIn
from halfsplit.problems import HalfsplitError, NotFoundError, ProblemsError


@pytest.fixture
def desk(tmp_path: Path) -> TypingIn:
    return TypingIn(new_file(tmp_path / "m.yaml", "M"))


def text(desk: TypingIn) -> str:
    return desk.file.read_text(encoding="utf-8")


def edit(desk: TypingIn, was: str, now: str) -> None:
    """Somebody with an editor."""
    assert was in text(desk)
    desk.file.write_text(text(desk).replace(was, now), encoding="utf-8")


def test_a_line_is_on_disk_and_the_next_is_offered(desk: TypingIn) -> None:
    done = desk.write("R11", "4k7", ["p5", "com"], None)
    assert (done["said"], done["line"], done["next"]) == ("R11: written", 6, "R12")
    assert "  R11: {kind: resistor, value: 4k7, a: p5, b: com}\n" in text(desk)
    desk.write("R12", "1k", ["p5", "b"], None)
    assert desk.write("R10", "1k", ["b", "com"], None)["next"] == "R13"


def test_what_is_on_a_net_shows_while_typing_and_so_does_a_likely_slip(desk: TypingIn) -> None:
    desk.write("U1", "7805", ["raw", "com", "P5"], None)
    desk.write("R1", "10R", ["P5", "com"], None)
    heard = desk.hear("R2", "1k", ["P5", "com"])
    assert heard["kind"] == "resistor" and heard["guessed"]
    assert [e["hint"] for e in heard["ends"]] == [
        ["known", "P5: U1 out, R1 a"],
        ["", "com: the common net"],
    ]
    heard = desk.hear("R2", "1k", ["P5_", "P15"])
    assert heard["ends"][0]["hint"] == ["warn", "P5_ is new, and easily taken for P5"]
    assert heard["ends"][1]["hint"] == ["new", "P15 is new; there is also P5"]
    assert desk.hear("R1", "10R", ["P5", ""])["ends"][0]["hint"] == ["known", "P5: U1 out"]


def test_an_entry_comes_back_to_be_changed_and_only_that_changes(desk: TypingIn) -> None:
    desk.write("R1", "4k7 1%", ["p5", "com"], None)
    edit(desk, "com}", "com}   # sheet 3")
    found = desk.recall("R1")
    assert found is not None
    assert (found["words"], found["ends"]) == ("resistor 4k7 1%", ["p5", "com"])
    before = text(desk)
    done = desk.write("R1", "resistor 5k6 1%", ["p5", "com"], found["held"])
    assert done["said"] == "R1: changed" and text(desk) == before.replace("4k7", "5k6")
    assert desk.recall("R9") is None


def test_the_file_wins_over_what_was_begun_before_it_changed(desk: TypingIn) -> None:
    desk.write("R1", "4k7", ["p5", "com"], None)
    found = desk.recall("R1")
    assert found is not None
    edit(desk, "4k7", "9k1")
    with pytest.raises(ChangedError, match=r"R1 stands in the file already: .*9k1") as caught:
        desk.write("R1", "5k6", ["p5", "com"], found["held"])
    assert "9k1" in text(desk) and "5k6" not in text(desk)
    desk.write("R1", "5k6", ["p5", "com"], caught.value.now)  # Enter once more
    assert "5k6" in text(desk)
    found = desk.recall("R1")
    assert found is not None
    desk.remove("R1")
    with pytest.raises(ChangedError, match="no longer in the file"):
        desk.write("R1", "1k", ["p5", "com"], found["held"])


def test_a_hand_edit_is_seen_at_the_next_look(desk: TypingIn) -> None:
    stamp = desk.stamp()
    assert desk.state()["names"] == []
    edit(desk, "parts:\n", "parts:\n  R7: {kind: resistor, value: 1k, a: x, b: y}\n")
    assert desk.stamp() != stamp
    state = desk.state()
    assert state["names"] == ["R7"] and [n for n, _ in state["nets"]] == ["com", "x", "y"]
    edit(desk, "value: 1k", "valeu: 1k")
    (wrong,) = desk.state()["wrong"]
    assert wrong.startswith("m.yaml:6:") and "“valeu”" in wrong and "Write value" in wrong
    desk.file.write_text("parts: {", encoding="utf-8")
    assert not desk.state()["readable"]
    with pytest.raises(ProblemsError):
        desk.write("R1", "1k", ["a", "b"], None)
    assert text(desk) == "parts: {"


def test_a_write_of_ours_is_never_taken_for_somebody_elses(
    desk: TypingIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page looks each second, also between the file's change and its being known for ours."""
    written, go_on = threading.Event(), threading.Event()
    remember = desk._remember

    def slowly(*args: Any) -> None:
        written.set()
        assert go_on.wait(20)
        remember(*args)

    monkeypatch.setattr(desk, "_remember", slowly)
    with ThreadPoolExecutor() as pool:
        write = pool.submit(desk.write, "R1", "4k7", ["p5", "com"], None)
        assert written.wait(20) and "R1" in desk.file.read_text()
        looked = pool.submit(desk.seen)
        assert not wait([looked], timeout=0.1).done
        go_on.set()
        write.result()
        assert looked.result()[1]
    desk.file.write_text(desk.file.read_text() + "\n# somebody else's\n")
    assert not desk.seen()[1]


def test_undo_goes_back_byte_for_byte_and_leaves_what_others_wrote(desk: TypingIn) -> None:
    texts = [text(desk)]
    for name, words, ends in (
        ("R1", "4k7", ["p5", "com"]),
        ("C1", "100u 16V", ["p5", "com"]),
        ("P5", "rail 4.75..5.25V", ["p5"]),
    ):
        desk.write(name, words, ends, None)
        texts.append(text(desk))
    desk.remove("C1")
    assert "C1" not in text(desk)
    assert desk.undo() == "taken back: C1: deleted" and text(desk) == texts[3]
    edit(desk, "assembly: M", "assembly: N  # renamed")
    assert desk.undo() == "taken back: P5: written"
    assert "P5" not in text(desk) and "renamed" in text(desk)
    edit(desk, "16V", "25V")
    with pytest.raises(ChangedError, match="C1 was changed in the file since"):
        desk.undo()
    assert "25V" in text(desk)
    assert desk.undo() == "taken back: R1: written"
    assert "R1" not in text(desk) and "25V" in text(desk)
    with pytest.raises(HalfsplitError, match="nothing was written"):
        desk.undo()


def test_nothing_is_written_that_is_wrong_or_missing(desk: TypingIn) -> None:
    before = text(desk)
    for name, words, ends, says in (
        ("R1", "4k7", ["p5"], "the net of terminal b is not typed yet"),
        ("R1", "4k7,", ["p5", "com"], "is not understood"),
        ("R1", "4k7", ["p5", "p5"], "every terminal of R1 is on net"),
        ("S1", "supply 12V", ["x", "x"], "S1 is shorted"),
        ("bar", "crowbar", ["p5", "CR4 5.6V", "R26 100R"], "thyristor"),
        ("bar", "crowbar", ["p5", "CR4 5.6V", "R26 banana", "SCR1"], "banana"),
        ("R1", "4k7 colour=red", ["p5", "com"], "colour"),
    ):
        with pytest.raises(ProblemsError, match=says):
            desk.write(name, words, ends, None)
        assert text(desk) == before
    with pytest.raises(NotFoundError):
        desk.remove("R1")
    assert [p.name for p in desk.file.parent.iterdir()] == ["m.yaml"]


def test_a_patterns_use_is_a_line_too_and_its_parts_belong_to_it(desk: TypingIn) -> None:
    desk.write("bar", "crowbar", ["p5", "CR4 5.6V", "R26 100R", "SCR1"], None)
    assert "  bar: {pattern: crowbar, rail: p5, zener: CR4 5.6V" in text(desk)
    assert desk.hear("R26", "1k", ["a", "b"])["use"] == "bar"
    with pytest.raises(ProblemsError, match="R26 comes from"):
        desk.write("R26", "1k", ["a", "b"], None)
    with pytest.raises(NotFoundError, match="it comes from `bar`"):
        desk.remove("R26")
    assert desk.beside("", 1) == "bar"


def test_a_new_machine_from_the_shelf_stays_on_it(tmp_path: Path) -> None:
    shelf = Shelf(tmp_path)
    key = shelf.begin("../../Bench: five")
    assert key == "bench-five.yaml" and (tmp_path / key).is_file()
    assert shelf.find(key) == (tmp_path / key, "assembly")
    with pytest.raises(HalfsplitError, match="there already"):
        shelf.begin("Bench five")
    with pytest.raises(ProblemsError):
        shelf.begin(" ")
    assert [p.name for p in tmp_path.iterdir()] == [key]
