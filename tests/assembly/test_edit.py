"""Editing one value leaves every other byte, and a bad edit leaves the file."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from halfsplit.assembly.edit import set_value
from halfsplit.assembly.file import load
from halfsplit.problems import NotFoundError, ProblemsError

TRAY = Path(__file__).parents[2] / "examples/hd40/pt3.yaml"
SMALL = """\
# the board as drawn
assembly: "Divider board"   # sheet 2
parts:
  V1:   {kind: supply, volts: 12V, pos: vin, neg: com}   # bench

  R1:   { kind: resistor,value: '1k', a: vin, b: mid , }
  R2:
      # lower arm
      kind: resistor
      value:    2k2     # read twice
      a: mid
      b: com
rails:
  P5.2: {net: mid, limits: 8..8.5V}
"""


@pytest.fixture
def tray(tmp_path: Path) -> Path:
    """A copy of the demo tray."""
    return Path(shutil.copy(TRAY, tmp_path / "pt3.yaml"))


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """A file with every way of writing an entry."""
    path = tmp_path / "board.yaml"
    path.write_text(SMALL, encoding="utf-8")
    return path


def test_only_the_value_changes_in_the_tray(tray: Path) -> None:
    before = tray.read_bytes()
    assert set_value(tray, "parts.R6.value", "2k0") == "2k2"
    old = b"R6:   {kind: resistor, value: 2k2,"
    assert before.count(old) == 1
    assert tray.read_bytes() == before.replace(old, b"R6:   {kind: resistor, value: 2k0,")
    assembly, problems = load(tray)
    assert assembly is not None and problems == []
    assert assembly.parts["R6"].__dict__["value"] == 2000.0


@pytest.mark.parametrize(
    ("dotted", "text", "old", "was", "now"),
    [
        ("parts.R2.value", "3k3", "2k2", "value:    2k2     #", "value:    3k3     #"),
        ("parts.R1.value", "1k2", "1k", "value: '1k'", "value: '1k2'"),
        ("assembly", "Left board", "Divider board", '"Divider board"', '"Left board"'),
        ("rails.P5.2.limits", "7..8V", "8..8.5V", "limits: 8..8.5V", "limits: 7..8V"),
        ("parts.V1.limit", "1A", "", "neg: com}", "neg: com, limit: 1A}"),
        ("parts.R1.power", "0.25W", "", "b: mid , }", "b: mid , power: 0.25W }"),
        ("parts.R2.note", "hot: #2", "", "      kind:", '      note: "hot: #2"\n      kind:'),
        ("machine", "HD-40", "", "assembly: ", "machine: HD-40\nassembly: "),
    ],
)
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_every_other_byte_stays(
    small: Path, dotted: str, text: str, old: str, was: str, now: str, ends: str, mark: str
) -> None:
    source = mark + SMALL.replace("\n", ends)
    small.write_bytes(source.encode())
    assert set_value(small, dotted, text) == old
    assert SMALL.count(was) == 1
    expected = mark + SMALL.replace(was, now).replace("\n", ends)
    assert small.read_bytes() == expected.encode()


@pytest.mark.parametrize(
    ("dotted", "text", "path"),
    [
        ("parts.R6.value", "2,2,0k", "parts.R6.value"),
        ("parts.R6.valeu", "2k2", "parts.R6.valeu"),
        ("parts.R6.b", "tip", "parts.R6.b"),
        ("parts.R6.kind", "npn", "parts.R6.value"),
        ("rails.P5.net", "p55", "rails.P5.net"),
        ("parts.R6.value", "2k2}\nparts: {", "parts.R6.value"),
        ("colour", "grey", "colour"),
    ],
)
def test_a_change_that_breaks_the_file_is_refused(
    tray: Path, dotted: str, text: str, path: str
) -> None:
    before = tray.read_bytes()
    with pytest.raises(ProblemsError) as caught:
        set_value(tray, dotted, text)
    assert path in [p.path for p in caught.value.problems]
    assert {p.file for p in caught.value.problems} == {str(tray)}
    assert all(p.line > 1 for p in caught.value.problems)
    assert tray.read_bytes() == before
    assert [p.name for p in tray.parent.iterdir()] == ["pt3.yaml"]


@pytest.mark.parametrize(
    ("dotted", "said"),
    [
        ("parts.R66.value", "did you mean R6"),
        ("parts.R6", "holds several values (kind, value"),
        ("part.R6.value", "did you mean parts"),
        ("parts.R6.value.top", "does not lead to an entry"),
    ],
)
def test_a_path_that_leads_nowhere_says_so(tray: Path, dotted: str, said: str) -> None:
    before = tray.read_bytes()
    with pytest.raises(NotFoundError) as caught:
        set_value(tray, dotted, "1k")
    assert said in str(caught.value)
    assert tray.read_bytes() == before


def test_permissions_and_a_link_are_kept(tray: Path) -> None:
    tray.chmod(0o640)
    link = tray.with_name("current.yaml")
    link.symlink_to(tray)
    set_value(link, "parts.R6.value", "2k0")
    assert link.is_symlink()
    assert tray.stat().st_mode & 0o777 == 0o640
    assert b"value: 2k0, power: 0.25W, a: com, b: tap" in tray.read_bytes()


def test_a_missing_or_unreadable_file_is_said_in_words(tmp_path: Path) -> None:
    with pytest.raises(NotFoundError, match="no such file"):
        set_value(tmp_path / "none.yaml", "parts.R1.value", "1k")
    broken = tmp_path / "broken.yaml"
    for content in (b"parts: {R1: {", b"\xff\xfe", b"", b"- 1\n"):
        broken.write_bytes(content)
        with pytest.raises(ProblemsError) as caught:
            set_value(broken, "parts.R1.value", "1k")
        assert caught.value.problems
        assert broken.read_bytes() == content
