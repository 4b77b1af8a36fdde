"""Cables as found: what is wrong with each, and nothing where nothing is."""

from __future__ import annotations

from typing import Any

import pytest

from halfsplit.boards.cable import judge
from halfsplit.boards.connector import Connector, settled
from halfsplit.boards.consoles import ConsoleFile
from halfsplit.boards.drawing import sheet, svg
from halfsplit.boards.wiring import plan
from tests.boards.test_pairs import PAIRS, end_of


def test_the_demo_cable_as_found_leaves_an_input_floating(demo: ConsoleFile) -> None:
    found = {}
    for name, cable in demo.cables.items():
        ends = {n: settled(n, demo.connectors[n]) for n in (cable.start, cable.to)}
        found[name] = [(f.code, f.harm) for f in judge(ends, cable.pairs())]
    assert found == {"as-found": [("floating", False)], "planned": []}


def test_the_demo_plan_is_the_cable_planned(demo: ConsoleFile) -> None:
    """3 to receive, transmit to 6, 5 tied to 7, 7 to 7: as argued beside the file."""
    made = plan("J3", demo.connectors["J3"], "T1", demo.connectors["T1"])
    assert made.verdict == "join"
    assert {frozenset((w.a.label[:4], w.b.label[:4])) for w in made.wires} == {
        frozenset(p)
        for p in (("J3-3", "T1-3"), ("J3-6", "T1-2"), ("J3-7", "T1-7"), ("J3-1", "T1-1"))
    }
    assert [(t.pin.pin, t.to.pin) for t in made.ties] == [("5", "7")]
    idle = {c.at.split(" ")[0]: (c.low, c.high) for c in made.checks}
    assert idle["J3-3"] == (-10, -7) and idle["T1-2"] == (-12, -5)


def test_the_loop_terminal_of_the_demo_is_marginal(demo: ConsoleFile) -> None:
    """14 to 12, 13 through the sender to 7; its printer brings its own source."""
    made = plan("J3", demo.connectors["J3"], "T2", demo.connectors["T2"])
    assert made.verdict == "marginal" and "14.5 mA" in made.reasons[0]
    pairs = [(w.a.pin, w.b.pin) for w in made.wires]
    assert {("14", "12"), ("13", "S+"), ("S-", "7"), ("9", "R+"), ("10", "R-")} <= set(pairs)
    assert {(t.pin.pin, t.by) for t in made.ties} == {("6", ""), ("5", "10 kΩ")}


PAIR = ("TD+-RD+", "TD--RD-", "RD+-TD+", "RD--TD-", "SG-SG")
SWAPPED = ("TD+-RD-", "TD--RD+", "RD+-TD+", "RD--TD-", "SG-SG")


@pytest.mark.parametrize(
    ("a", "b", "wires", "want"),
    [
        ("TIA-232 DTE", "TIA-232 DTE", ("2-2", "3-3", "7-7"), {"two-drivers", "unheard"}),
        ("TIA-232 DTE", "TIA-232 DTE", ("2-3", "3-2", "7-7"), set()),
        ("TIA-232 DTE", "TIA-232 DTE", ("2-3", "3-2"), {"no-common"}),
        ("TIA-232 DTE", "TIA-232 DCE", ("2-2", "3-3", "7-7"), set()),
        ("TIA-232 DTE", "TIA-232 DCE", ("2-7", "3-3", "7-7"), {"shorted", "unheard"}),
        ("TIA-423 DTE", "TIA-232 DTE", ("2-3", "3-2", "7-7"), {"level"}),
        ("TTL DTE", "TIA-232 DTE", ("TD-3", "RD-2", "SG-7"), {"level"}),
        ("TIA-232 DTE", "TIA-422 DTE", ("2-RD-", "7-RD+", "7-SG", "3-TD+"), {"level"}),
        ("TIA-423 DTE", "TIA-422 DTE", ("2-RD-", "7-RD+", "7-SG", "3-TD+"), {"level"}),
        ("TIA-423 DTE", "TIA-422 DTE", ("2-RD+", "7-RD-", "7-SG"), {"inverted", "unheard"}),
        ("loop active", "loop active", ("S+-R+", "S--R-", "R+-S+", "R--S-"), {"two-sources"}),
        ("loop passive", "loop passive", ("S+-R+", "S--R-"), {"no-source"}),
        ("loop active", "loop passive", ("S+-R+", "S--R-"), set()),
        ("TIA-422 DTE", "TIA-422 DTE", PAIR, set()),
        ("TIA-422 DTE", "TIA-422 DTE", SWAPPED, {"inverted"}),
        ("TIA-422 DTE", "TIA-422 DTE", (PAIR[0], *PAIR[2:]), {"floating"}),
    ],
)
def test_cable(a: str, b: str, wires: tuple[str, ...], want: set[str]) -> None:
    joints: list[Any] = []
    for text in wires:
        cuts = [k for k, c in enumerate(text) if c == "-"]
        mark = next(k for k in cuts if text[:k] in _pins(a) and text[k + 1 :] in _pins(b))
        joints.append((("A", text[:mark]), ("B", text[mark + 1 :])))
    ends = {"A": settled("A", end_of(a)), "B": settled("B", end_of(b))}
    found = judge(ends, joints)
    assert {f.code for f in found} == want


def _pins(text: str) -> set[str]:
    return set(end_of(text).all_pins())


def test_the_line_on_the_wrong_side_of_a_pair_is_inverted(demo: ConsoleFile) -> None:
    """The terminal's line on RX+ with RX- at common: idle decodes as space."""
    ends = {n: settled(n, demo.connectors[n]) for n in ("J3", "T1")}
    joints = [(("J3", "5"), ("T1", "2")), (("J3", "6"), ("J3", "7")), (("J3", "7"), ("T1", "7")),
              (("J3", "3"), ("T1", "3"))]  # fmt: skip
    assert [f.code for f in judge(ends, joints)] == ["inverted"]


@pytest.mark.parametrize("pair", PAIRS, ids=[f"{p['a']} - {p['b']}" for p in PAIRS])
def test_what_the_planner_joins_the_judge_finds_sound(pair: dict[str, Any]) -> None:
    """The judge works from joints alone and knows nothing of how a plan came about."""
    a, b = end_of(pair["a"]), end_of(pair["b"])
    made = plan("A", a, "B", b)
    if made.verdict not in ("join", "marginal"):
        return
    joints = [((w.a.end, w.a.pin), (w.b.end, w.b.pin)) for w in made.wires]
    joints += [((t.pin.end, t.pin.pin), (t.to.end, t.to.pin)) for t in made.ties]
    assert judge({"A": settled("A", a), "B": settled("B", b)}, joints) == []


def test_drawing_shows_every_wire_and_tie(demo: ConsoleFile) -> None:
    from xml.etree import ElementTree

    made = plan("J3", demo.connectors["J3"], "T1", demo.connectors["T1"])
    root = ElementTree.fromstring(svg(made))
    space = "{http://www.w3.org/2000/svg}"
    assert len(root.findall(f"{space}line")) == len(made.wires) == 4
    assert len(root.findall(f"{space}path")) == len(made.ties) == 1
    loop = plan("J3", demo.connectors["J3"], "T2", demo.connectors["T2"])
    bows = ElementTree.fromstring(svg(loop)).findall(f"{space}path")
    assert len(bows) == len(loop.ties) + 1  # and the wire from 14 to 12, within one plug
    words = {t.text for t in root.findall(f"{space}text")}
    assert {"J3-5 (RX+)", "T1-2 (TD)", "J3", "T1"} <= words
    page = sheet(made, "SL-2 <board>")
    assert "SL-2 &lt;board&gt;" in page and "http" not in page.replace("http://www.w3.org", "")
    assert all(w.why.replace(">", "&gt;") in page for w in made.wires)


def test_a_pair_that_contradicts_itself_is_measured() -> None:
    """+ said passive, - active: believing either could put two sources in one loop."""
    pins = {
        "1": {"role": "loop-send+", "active": False},
        "2": {"role": "loop-send-", "active": True},
    }
    one = Connector.model_validate({"pins": pins})
    made = plan("A", one, "B", end_of("loop active"))
    assert made.verdict == "measure" and not made.wires
