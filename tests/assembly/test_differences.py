"""Two versions of a file told apart by what they mean, not by how they are written."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from halfsplit.assembly.differences import differences
from halfsplit.assembly.file import load
from halfsplit.assembly.model import Assembly

ROOT = Path(__file__).resolve().parents[2]
TRAY = ROOT / "examples" / "hd40" / "pt3.yaml"
# Without what the drawing prints: a claim about a net that is renamed would be a claim about none.
TEXT = re.sub(r"(?ms)^(printed|numbering):.*?(?=^\S)", "", TRAY.read_text(encoding="utf-8"))


def read(text: str) -> Assembly:
    found, problems = load(TRAY, text)
    assert found is not None, problems
    return found


BEFORE = read(TEXT)


def told(text: str) -> list[tuple[str, str, str]]:
    return [(d.what, d.part, d.words) for d in differences(BEFORE, read(text)).found]


def swap(old: str, new: str) -> str:
    assert TEXT.count(old) == 1, old
    return TEXT.replace(old, new)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "value: 1k2, power: 0.25W, a: zk",
            "value: 12k, power: 0.25W, a: zk",
            ("changed", "R5", "value is 12k now, was 1k2"),
        ),
        (
            "power: 0.75W, tech: wirewound, a: n1,",
            "power: 0.75W, a: n1,",
            ("changed", "R3", "tech is film now, was wirewound"),
        ),
        (
            "a: n1x, b: n1}",
            "a: n1x, b: b1}",
            ("moved", "R4", "terminal b is on b1 now, was on n1"),
        ),
        (
            "  R33:  {kind: resistor, value: 2k2, power: 0.5W, a: com, b: vrn}\n",
            "",
            ("removed", "R33", "2.20 kΩ 0.50 W resistor is gone; it was on com (a), vrn (b)"),
        ),
        (
            "rails:\n",
            "  R99: {kind: resistor, value: 1k, a: p5, b: com}\nrails:\n",
            ("added", "R99", "1.00 kΩ resistor is new, on p5 (a), com (b)"),
        ),
        (
            "limits: 4.75..5.25V",
            "limits: 4.8..5.25V",
            ("changed", "", "rail P5: limits is 4.8..5.25 V now, was 4.75..5.25 V"),
        ),
        (
            "half: {p5: 2R",
            "half: {p5: 3R",
            ("changed", "", "load half: p5 is 3 ohm now, was 2 ohm"),
        ),
        (
            "volts: 10.8V",
            "volts: 11V",
            ("changed", "", "feed raws: nets.v5r.volts is 11 V now, was 10.8 V"),
        ),
        (
            "  TP5: {net: ref, at: R16-R17 joint}\n",
            "",
            ("removed", "", "point TP5 is gone"),
        ),
        (
            "  SCR1: [CR4, R26]\n",
            "  SCR1: [CR4]\n",
            ("removed", "", "R26 and SCR1 no longer sit side by side"),
        ),
    ],
)
def test_one_change_is_told_once(old: str, new: str, said: tuple[str, str, str]) -> None:
    assert said in told(swap(old, new)) and len(told(swap(old, new))) == 1


def test_a_net_or_part_called_otherwise_is_told_once() -> None:
    assert told(TEXT.replace("qb14", "base14")) == [
        ("renamed", "", "net qb14 is called base14 now")
    ]
    assert told(TEXT.replace("R28:", "R128:")) == [("renamed", "R128", "was called R28")]


def test_two_nets_run_together_are_no_new_name() -> None:
    found = told(TEXT.replace("e: e8", "e: e12").replace("a: e8", "a: e12"))
    assert [f[:2] for f in found] == [("moved", r) for r in ("Q8", "Q9", "R15")]


def test_text_alone_is_no_difference() -> None:
    respelt = TEXT.replace("value: 4k7", "value: 4.7k").replace("# -12 V master", "# The master")
    lines = respelt.splitlines(keepends=True)
    first = next(k for k, line in enumerate(lines) if line.startswith("  R1: "))
    lines[first], lines[first + 1] = lines[first + 1], lines[first]
    assert respelt != TEXT and told("".join(lines)) == []


@pytest.mark.parametrize("name", ["hd40/pt3", "stile17/ob8", "type88/supply"])
def test_typed_by_patterns_only_names_of_inner_nets_differ(name: str) -> None:
    plain = load(ROOT / "examples" / f"{name}.yaml")[0]
    short = load(ROOT / "tests" / "files" / "by-pattern" / f"{name.partition('/')[2]}.yaml")[0]
    assert plain is not None and short is not None
    found = differences(short, plain).found
    assert found and {d.what for d in found} == {"renamed"} and {d.part for d in found} == {""}
