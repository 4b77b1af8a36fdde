"""Circuit drawings of the demo machines: whole, readable, steady, and proof against any text."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from functools import cache
from pathlib import Path

import pytest

from halfsplit.assembly.model import Assembly
from halfsplit.bench.opening import open_machine
from halfsplit.parts import kinds as _kinds  # noqa: F401  (registers every kind)
from halfsplit.parts.base import REGISTRY
from halfsplit.pictures.choice import Choice, levels, neighbourhood, whole
from halfsplit.pictures.circuit import circuit_svg
from halfsplit.pictures.layout import Notes, draw
from halfsplit.pictures.sheet import End, Label, Placed, Sheet, clashes
from halfsplit.pictures.symbols import SYMBOLS, units
from halfsplit.problems import NotFoundError

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
FILES = ("hd40/pt3.yaml", "stile17/ob8.yaml", "type88/supply.yaml", "tl6/su6.yaml")
SVG = "{http://www.w3.org/2000/svg}"


@cache
def assembly(name: str) -> Assembly:
    return open_machine(EXAMPLES / name)[0].assembly


def faults(choice: Choice, notes: Notes | None = None) -> list[str]:
    """What is unreadable in a drawing, and units missing or drawn twice."""
    sheet = draw(choice, notes)
    drawn = [s.unit.key for s in sheet.symbols]
    there = [u.key for u in choice.units]
    return clashes(sheet) + ([] if sorted(drawn) == sorted(there) else ["not each unit once"])


@pytest.mark.parametrize("file", FILES)
def test_every_neighbourhood_is_readable(file: str) -> None:
    at = assembly(file)
    notes = Notes(
        dict.fromkeys(at.nets(), ("exp -12.34 V", "is -11.98 V")),
        dict.fromkeys(at.parts, ("suspect 38 %",)),
    )
    for name in [*at.parts, *at.nets(), at.common]:
        for hops in (1, 2):
            assert faults(neighbourhood(at, name, hops)) == [], (name, hops)
        assert faults(neighbourhood(at, name, 1), notes) == [], name


@pytest.mark.parametrize("file", FILES)
def test_whole_assemblies_are_readable(file: str) -> None:
    assert faults(whole(assembly(file))) == []


def test_the_readability_check_sees_what_it_should() -> None:
    at = assembly(FILES[0])
    (r1,), (r2,) = units(at.parts["R1"]), units(at.parts["R2"])
    stacked = Sheet(symbols=[Placed(r1, 0, 0), Placed(r2, 10, 5)])
    assert clashes(stacked) == ["symbol R1  on symbol R2 "]
    label = Label(20, -6, "start", (("ref", "R9"),))
    assert clashes(Sheet(symbols=[Placed(r1, 0, 0)], labels=[label])) == ["symbol R1  on label R9"]
    through = Sheet(symbols=[Placed(r1, 0, 0)])
    through.wire("n", (30.0, -40.0), (30.0, 40.0))
    assert clashes(through) == ["wire n through symbol R1 "]
    crossed = Sheet()
    crossed.wire("n", (0.0, 0.0), (10.0, 0.0))
    crossed.wire("m", (5.0, -5.0), (5.0, 5.0))
    assert clashes(crossed) == ["wire n touches m"]
    assert clashes(
        Sheet(ends=[End("flag", 0, 0, "L", "a")], labels=[Label(-2, -2, "start", (("net", "a"),))])
    )


@pytest.mark.parametrize("file", FILES)
def test_wires_join_exactly_the_pins_of_their_net(file: str) -> None:
    """Every pin drawn ends on a wire of its own net, and no wire of another net touches it."""
    sheet = draw(whole(assembly(file)))
    runs = [
        (w.net, p, q) for w in sheet.wires for p, q in zip(w.points, w.points[1:], strict=False)
    ]
    for placed in sheet.symbols:
        for pin in placed.unit.symbol.pins:
            x, y = placed.at(pin.x, pin.y)
            nets = {
                net
                for net, p, q in runs
                if min(p[0], q[0]) - 0.01 <= x <= max(p[0], q[0]) + 0.01
                and min(p[1], q[1]) - 0.01 <= y <= max(p[1], q[1]) + 0.01
            }
            assert nets == {placed.unit.nets[pin.terminal]}, (placed.unit.key, pin.terminal)


def test_every_kind_has_a_symbol() -> None:
    assert set(REGISTRY.kinds) - set(SYMBOLS) == {"relay"}  # drawn as two
    at = assembly(FILES[0])
    assert [u.name for u in units(at.parts["K1"])] == ["coil", "contact"]


def test_an_unknown_kind_is_a_box_with_its_terminals() -> None:
    class Odd(type(assembly(FILES[0]).parts["R1"])):  # type: ignore[misc]
        KIND = "odd"

    odd = Odd(ref="X1", kind="resistor", value="1k", a="a", b="b")
    (unit,) = units(odd)
    assert {m[2] for m in unit.symbol.marks} == {"a", "b"} and unit.symbol.through is None


def test_spine_of_the_five_volt_rail() -> None:
    at = assembly(FILES[0])
    sheet = draw(whole(at, ["F2", "Q10", "R21", "C8"]))
    row = sorted((s for s in sheet.symbols if not s.upright), key=lambda s: s.x)
    assert [s.unit.part.ref for s in row] == ["F2", "Q10", "R21"]
    assert [s.unit.part.ref for s in sheet.symbols if s.upright] == ["C8"]
    assert any(e.kind == "ground" for e in sheet.ends)


def test_current_flows_from_the_left() -> None:
    at = levels(assembly("type88/supply.yaml"))
    assert at["pri"] < at["raw"] < at["p250"]


def test_a_value_changed_moves_nothing_that_is_drawn(tmp_path: Path) -> None:
    text = (EXAMPLES / FILES[0]).read_text(encoding="utf-8")
    edited = tmp_path / "pt3.yaml"
    edited.write_text(
        text.replace("value: 220R, power: 0.25W, a: b1", "value: 270R, power: 0.25W, a: b1")
    )
    before, after = draw(whole(assembly(FILES[0]))), draw(whole(open_machine(edited)[0].assembly))
    assert [(s.unit.key, s.x, s.y) for s in before.symbols] == [
        (s.unit.key, s.x, s.y) for s in after.symbols
    ]


def test_neighbourhood_of_a_part_and_of_a_net() -> None:
    at = assembly(FILES[0])
    assert {u.part.ref for u in neighbourhood(at, "R21").units} == {"Q10", "R20", "R21", "R22"}
    around = {u.part.ref for u in neighbourhood(at, "TP4").units}  # the sum point
    assert around == {"Q8", "R12", "R13", "C11"}
    crowd = neighbourhood(at, "com", 1)
    assert crowd.left_out and crowd.left_out[0][0] == "com"
    with pytest.raises(NotFoundError, match="no part, net, rail or point zz"):
        neighbourhood(at, "zz")


def test_parts_and_nets_can_be_told_by_a_page() -> None:
    at = assembly(FILES[0])
    choice = neighbourhood(at, "R21")
    text = circuit_svg(
        choice, expected={"p5": "5.02 V"}, actual={"p5": "4.98 V"}, suspects={"Q10": 0.6}
    )
    root = ET.fromstring(text)
    groups = {g.get("data-part") for g in root.iter(f"{SVG}g")} - {None}
    assert groups == {"Q10", "R20", "R21", "R22"}
    nets = {e.get("data-net") for e in root.iter()} - {None}
    assert nets == {"v5f", "b10", "f1", "p5", "qb14"}
    title = root.find(f"{SVG}title")
    assert title is not None and title.text == "Circuit of Power tray PT-3 around R21"
    said = ["".join(t.itertext()) for t in root.iter(f"{SVG}text")]
    assert said.count("exp 5.02 V") == said.count("is 4.98 V") == said.count("suspect 60 %") == 1
    assert not re.search(r"#000|#fff|black|white", text)  # inline it takes the page's own colours


def test_hostile_names_are_text(tmp_path: Path) -> None:
    file = tmp_path / "odd.yaml"
    file.write_text(
        'assembly: "</svg><script>alert(1)</script>"\ncommon: com\nparts:\n'
        '  S1: {kind: supply, volts: 12V, pos: "<b>&\'x", neg: com}\n'
        '  R1: {kind: resistor, value: 1k, a: "<b>&\'x", b: com}\n',
        encoding="utf-8",
    )
    at = open_machine(file)[0].assembly
    text = circuit_svg(whole(at), name="<script>\x00\ud800")
    assert "<script" not in text and "<b>" not in text
    ET.fromstring(text.encode())
