"""Everything wrong with a console file, at once, with its line and what to write."""

from __future__ import annotations

from pathlib import Path

import pytest

from halfsplit.boards.consoles import load, open_console
from halfsplit.boards.framing import FormatError, parse_format
from halfsplit.boards.line import LineBoard, differences, positions_for, setting
from halfsplit.problems import NotFoundError, ProblemsError

DEMO = Path(__file__).resolve().parents[2] / "examples" / "quillon16" / "console.yaml"
BAD = """\
console: bad
conectors: {}
connectors:
  J1:
    end: DTF
    standard: TIA-232
    layout: DB25
  J2:
    pins:
      1: {rle: common}
      2: {role: send}
  J3:
    standard: TIA-422
    pins: {1: {role: send}}
  J4: {end: DTE, standard: TIA-232, layout: DE9}
  J5: 7
cables:
  c1: {from: J4, to: J9, wires: ["3-2"]}
  c2: {from: J4, to: J4, wires: ["3:2"]}
  c3: {from: J4, to: J4, wires: ["3-77"], ties: {J8: ["1-2"]}}
lines:
  B:
    crystal: 2.4576
    rate: {at: "1-2", codes: {"00": 16, "012": 3}}
  C:
    crystal: -1MHz
    rate: {at: x, codes: {"0": 16}}
  D:
    crystal: 1MHz
    rate: {at: 1, codes: {"0": fast}}
    parity: {at: 2, codes: {"0": yes please}}
    wanted: 9600 banana
messages:
  E1: {says: "E1 {a} {a}", means: twice}
  E2: {says: "E2 {a}", means: "{b}"}
lamps:
  leds: {order: D2 D1, codes: {"011": three}}
"""
WANT = [
    "2:conectors: there is no section",
    "5:connectors.J1.end: `DTF` is not one of the choices",
    "10:connectors.J2.pins.1.rle: there is no `rle` here",
    "12:connectors.J3: pin 1: TIA-422 takes a pair of pins",
    "16:connectors.J5: `7` stands where an entry belongs",
    "18:cables.c1.to: there is no connector `J9`",
    "19:cables.c2.wires: “3:2” is no wire",
    "20:cables.c3.wires: J4 has no pin 77",
    "20:cables.c3.ties.J8: `J8` is no end of this cable",
    "24:lines.B.rate: code “012” is not 2 of 0 and 1",
    "26:lines.C.crystal: `-1MHz` must be more than 0",
    "27:lines.C.rate.at: “x” is no switch position",
    "28:lines.D: rate “0”: fast is no divisor; parity “0”: yes please is no choice of it; wanted:",
    "34:messages.E1: a field stands twice",
    "35:messages.E2: `means` uses b",
    "37:lamps.leds: `order` names another number",
]


def test_every_problem_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(BAD, encoding="utf-8")
    found, problems = load(path)
    assert found is None
    told = [f"{p.line}:{p.path}: {p.wrong}" for p in problems]
    for want in WANT:
        assert any(t.startswith(want) for t in told), (want, told)
    assert all(p.instead for p in problems), [str(p) for p in problems if not p.instead]
    assert len(told) == len(WANT), [t for t in told if not any(t.startswith(w) for w in WANT)]


@pytest.mark.parametrize("text", ["", "[]", "3", "console: x\n", "connectors: 5\n", "\tx: 1\n"])
def test_no_console_file_at_all(tmp_path: Path, text: str) -> None:
    path = tmp_path / "x.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ProblemsError):
        open_console(path)


def test_a_missing_file_and_misspelt_names() -> None:
    with pytest.raises(NotFoundError):
        open_console(Path("none.yaml"))
    demo = open_console(DEMO)
    for call in (demo.connector, demo.cable, demo.line):
        with pytest.raises(NotFoundError, match="did you mean"):
            call({demo.connector: "T4", demo.cable: "as-fund", demo.line: "SL-3"}[call])  # type: ignore[index]


def test_the_demo_switch_and_what_to_move() -> None:
    """Parity was left on: one position to move, as the story has it."""
    _, board = open_console(DEMO).line(None)
    stands = setting(board, str(board.found))
    assert str(stands.form) == "9600 8E1"
    want = positions_for(board, parse_format("9600 8N1"))
    assert want == "111010x0"
    assert differences(str(board.found), want) == ["position 6: open (off), now closed (on)"]


@pytest.mark.parametrize("text", ["110 7E2", "300 8O1", "1200 7N1", "9600 8N1"])
def test_positions_set_what_was_wanted(text: str) -> None:
    _, board = open_console(DEMO).line("SL-2")
    form = parse_format(text)
    got = setting(board, positions_for(board, form).replace("x", "1"))
    assert (got.nominal, got.form.data, got.form.parity, got.form.stop) == (
        form.rate, form.data, form.parity, form.stop,
    )  # fmt: skip


def test_what_a_board_cannot_do_is_refused() -> None:
    _, board = open_console(DEMO).line(None)
    for text in ("4800 8N1", "9600 6N1", "9600 8N1.5"):
        with pytest.raises(ProblemsError):
            positions_for(board, parse_format(text))
    for text in ("1", "1110 11x0", "1111 0000"):
        with pytest.raises(ProblemsError):
            setting(board, text)
    bare = LineBoard.model_validate({"crystal": "1MHz", "rate": {"at": 1, "codes": {"0": 13}}})
    with pytest.raises(ProblemsError, match="cannot be set"):
        positions_for(bare, parse_format("4800 7E1"))


@pytest.mark.parametrize("text", ["", "9600", "8N", "9600 8X1", "9600 8N3", "8N1 9600", "-1 8N1"])
def test_what_is_no_format(text: str) -> None:
    with pytest.raises(FormatError):
        parse_format(text)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("role: receive+", "role: reciever+", "13:11: connectors.J3.pins.5.role: `reciever+` is"),
        ("standard: TIA-422", "standard: TIA-488", "pins.5.standard: `TIA-488` is not one of the"),
        ('"0100": 512', '"100": 512', "code “100” is not 4 of 0 and 1, one a position. Write"),
        ("{w^r}", "{w^q}", "`means` uses q, which `says` does not have. Write {a} or {w} or {r}"),
    ],
)
def test_a_slip_in_the_demo_is_told_once_at_its_own_line(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    text = DEMO.read_text(encoding="utf-8")
    assert old in text
    file = tmp_path / "c.yaml"
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    found, problems = load(file)
    assert found is None
    (only,) = problems
    assert words in str(only), str(only)
    assert "nothing stands" not in str(only) and "Write" in str(only)


def test_an_empty_file_is_told_what_a_console_file_begins_with(tmp_path: Path) -> None:
    file = tmp_path / "c.yaml"
    file.write_text("", encoding="utf-8")
    (only,) = load(file)[1]
    assert "connectors:" in only.instead and "assembly" not in str(only)
