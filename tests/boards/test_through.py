"""Cables through converters, each against a wire list argued by hand (through.yaml)."""

from __future__ import annotations

import re
from collections import Counter
from html import unescape
from itertools import product
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from ruamel.yaml import YAML

from halfsplit.boards.cable import judge
from halfsplit.boards.connector import Connector, settled
from halfsplit.boards.consoles import load, open_console
from halfsplit.boards.converters import Converter, built_in
from halfsplit.boards.drawing import sheet, svg
from halfsplit.boards.through import Through
from halfsplit.boards.wiring import Plan, plan
from tests.boards.test_never_two_drivers import connectors, loop_ends, plans
from tests.boards.test_pairs import PAIRS, end_of

ROWS: list[dict[str, Any]] = YAML(typ="safe").load(
    Path(__file__).with_name("through.yaml").read_text(encoding="utf-8")
)
IDS = [f"{r['a']} - {r['b']}" for r in ROWS]
CONVERTED = [p for p in PAIRS if p["verdict"] == "converter"]


def made_of(a: Connector, b: Connector) -> Through:
    found = plan("A", a, "B", b)
    assert found.verdict == "converter" and not found.wires and not found.ties
    assert found.through is not None
    return found.through


def short(label: str) -> str:
    return label.partition(" (")[0]


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_every_wire_is_as_argued(row: dict[str, Any]) -> None:
    made = made_of(end_of(row["a"]), end_of(row["b"]))
    assert not made.lacking and made.verdict == "join"
    wires = Counter()
    for w in made.wires:
        mark = "=" if w.a.role in ("common", "frame") and w.b.role in ("common", "frame") else ">"
        wires[f"{short(w.a.label)}{mark}{short(w.b.label)}"] += 1
    assert wires == Counter(row["wires"])
    assert Counter(f"{short(t.pin.label)}={short(t.to.label)}" for t in made.ties) == Counter(
        row["ties"]
    )
    assert sorted(s.volts for s in made.supplies) == sorted(row["feeds"])
    loops = [m.value * 1e3 for k in made.links for m in k.margins if m.unit == "A" and m.value]
    assert sorted({round(v, 1) for v in loops}) == row.get("mA", [])
    spare = [m.spare for k in made.links for m in k.margins if m.unit == "V"]
    assert min(spare) == pytest.approx(row["spare"], abs=1e-6)
    assert made.rate == row.get("rate")
    assert all(w.why for w in made.wires)


def test_every_two_standards_are_argued() -> None:
    names = ["TIA-232", "TIA-423", "TIA-422", "TTL", "loop"]
    met = {frozenset((r["a"].split()[0], r["b"].split()[0])) for r in ROWS}
    assert met == {frozenset(two) for two in product(names, repeat=2) if len(set(two)) == 2}


@pytest.mark.parametrize("pair", CONVERTED, ids=[f"{p['a']} - {p['b']}" for p in CONVERTED])
def test_a_way_is_found_and_the_judge_finds_it_sound(pair: dict[str, Any]) -> None:
    """The judge knows joints only: the same eyes that judge a cable somebody else made."""
    a, b = end_of(pair["a"]), end_of(pair["b"])
    made = made_of(a, b)
    assert not made.lacking
    assert judged(made, a, b) == set()


def judged(made: Through, a: Connector, b: Connector) -> set[str]:
    joints = [((w.a.end, w.a.pin), (w.b.end, w.b.pin)) for w in made.wires]
    joints += [((t.pin.end, t.pin.pin), (t.to.end, t.to.pin)) for t in made.ties]
    joints += [((j.a.end, j.a.pin), (j.b.end, j.b.pin)) for j in made.inside if not j.by]
    used = {p for joint in joints for p in joint}
    ends = {"A": settled("A", a), "B": settled("B", b)}
    for name, part in made.parts.items():
        ends[name] = {k: p for k, p in part.wired(name).items() if (name, k) in used}
    return {f.code for f in judge(ends, joints)}


HARM = {"two-drivers", "shorted", "two-sources"}


@settings(max_examples=250, deadline=None, derandomize=True)
@given(connectors(), connectors())
def test_whatever_the_ends_no_converter_fights(a: Connector, b: Connector) -> None:
    _sound(plan("A", a, "B", b), a, b)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(connectors(), loop_ends())
def test_whatever_the_loops_each_has_one_source(a: Connector, b: Connector) -> None:
    _sound(plan("A", a, "B", b), a, b)


def _sound(top: Plan, a: Connector, b: Connector) -> None:
    for found in plans(top):
        made = found.through
        if made is None:
            continue
        if made.lacking:
            assert not made.wires and not made.parts
            continue
        groups: list[set[str]] = []
        wired = [(w.a, w.b) for w in made.wires] + [(t.pin, t.to) for t in made.ties if not t.by]
        wired += [(j.a, j.b) for j in made.inside if not j.by]
        table = {p.label: p for two in wired for p in two}
        for one, other in ((x.label, y.label) for x, y in wired):
            touching = [g for g in groups if g & {one, other}]
            groups = [g for g in groups if g not in touching] + [{one, other}.union(*touching)]
        for group in groups:
            drivers = [n for n in group if table[n].drives]
            assert len(drivers) <= 1, (drivers, group)
            assert not (drivers and any(table[n].role in ("common", "frame") for n in group))
        used: list[str] = []
        for link in made.links:
            if link.sender[0].role.startswith("loop"):
                pairs = (link.sender, link.receiver)
                sources = [p[0].label for p in pairs if any(x.data.active is True for x in p)]
                sources += [link.source.label] if link.source else []
                assert len(sources) == 1, sources
                used += [link.source.label] if link.source else []
        assert len(set(used)) == len(used)


def test_a_loop_whose_source_is_not_known_is_measured_first() -> None:
    found = plan("A", end_of("TIA-232 DTE"), "B", end_of("loop unknown"))
    assert found.verdict == "measure" and found.through is None
    assert "is not known" in found.reasons[0]
    assert any(c.at == "B-R+" for c in found.checks)


def test_no_common_no_converter() -> None:
    """Levels have nothing to be measured against: refused as between two connectors."""
    bare = Connector.model_validate(
        {"pins": {"1": {"role": "send", "standard": "TIA-232"}}, "end": "DTE"}
    )
    found = plan("A", bare, "B", end_of("TTL DTE"))
    assert found.through is not None and not found.through.wires
    assert found.through.lacking == ["A has no signal common on this connector"]


def test_an_isolated_loop_shares_no_common_and_is_not_measured_against_it() -> None:
    found = plan("A", end_of("TIA-232 DCE"), "B", end_of("loop active"))
    assert found.through is not None
    assert not [w for w in found.through.at("B") if "common" in (w.a.role, w.b.role)]
    assert not [c for c in found.checks if "commons" in c.means]


def test_five_handshakes_take_a_second_divider_and_a_chip_gives_four_channels() -> None:
    """TIA-232 at a logic board with RTS, CTS, DTR, DSR and DCD: three go out, three come in."""
    names = ("TD", "RD", "RTS", "CTS", "DTR", "DSR", "DCD", "SG")
    logic = Connector.model_validate(
        {"standard": "TTL", "end": "DTE", "pins": {n: {"circuit": n} for n in names}}
    )
    made = made_of(end_of("TIA-232 DCE"), logic)
    count = Counter(n.split(" no.")[0] for n in made.parts)
    assert count == {"1489": 1, "1488": 1}  # TD, RTS, DTR one way; RD, CTS, DSR, DCD the other
    assert sum("1489" in w.b.end for w in made.wires if w.b.role == "receive") == 4
    gate = [j for j in made.inside if short(j.a.label) == "1488-5"]
    assert gate and short(gate[0].b.label) == "1488-4"  # both inputs of the second gate


@pytest.mark.parametrize("row", ROWS, ids=IDS)
def test_drawing_and_sheet_show_every_conductor(row: dict[str, Any]) -> None:
    found = plan("A", end_of(row["a"]), "B", end_of(row["b"]))
    made = found.through
    assert made is not None
    root = ElementTree.fromstring(svg(found))
    space = "{http://www.w3.org/2000/svg}"
    straight = sum(w.a.end != w.b.end for w in made.straight())
    bows = len(made.inside) + len(made.between()) + len(made.ties)
    bows += len(made.straight()) - straight
    assert len(root.findall(f"{space}path")) == bows
    lines = len(made.at("A")) + len(made.at("B")) + 3 * straight
    assert len(root.findall(f"{space}line")) == lines
    words = " ".join(t.text or "" for t in root.findall(f"{space}text"))
    page = sheet(found, "bench")
    text = unescape(re.sub(r"<svg.*?</svg>", "", page, flags=re.S))
    for wire in made.wires:
        assert wire.a.label in words and wire.b.label in words
        assert wire.why in text and wire.a.label in text
    for joint in made.inside:
        assert joint.by in text and joint.why in text
    assert all(s.pin.label in text for s in made.supplies)


def test_nothing_in_the_drawing_leaves_it() -> None:
    for row in ROWS:
        root = ElementTree.fromstring(svg(plan("A", end_of(row["a"]), "B", end_of(row["b"]))))
        wide, high = (float(root.attrib[k]) for k in ("width", "height"))
        for item in root.iter():
            for x, y in (("x1", "y1"), ("x2", "y2"), ("cx", "cy"), ("x", "y")):
                if x in item.attrib:
                    assert 0 <= float(item.attrib[x]) <= wide
                    assert 0 <= float(item.attrib[y]) <= high


def test_every_built_in_names_where_it_comes_from() -> None:
    assert all(c.source and c.says for c in built_in().values())
    for name, part in built_in().items():
        fed = {k for k, p in part.pins.items() if p.role == "supply"}
        assert fed == set(part.amps), name


def test_divider_by_hand() -> None:
    """25 V stays below 10 V and 5 V above 0.2 V at every corner of 5 % parts, 4 kohm across."""
    pins = built_in()["divider"].pins
    upper, lower, load = 3.9e3, 2.2e3, 4e3
    worst = [
        (u * upper, k * lower * load / (k * lower + load) if loaded else k * lower)
        for u, k, loaded in product((0.95, 1.05), (0.95, 1.05), (False, True))
    ]
    ratios = [k / (u + k) for u, k in worst]
    mark = pins["B"].mark
    assert mark is not None
    assert 25 * max(ratios) <= -mark.low + 5e-3 and -mark.low < 10
    assert 5 * min(ratios) >= -mark.high - 5e-3 and -mark.high > 0.2
    assert all(3000 <= u + k <= 7000 for u, k in worst)


MINE = """\
console: c
connectors:
  J1: {standard: TIA-232, end: DTE, layout: DE9}
  J2: {standard: TTL, end: DTE, pins: {1: {circuit: TD}, 2: {circuit: RD}, 3: {circuit: SG}}}
converters:
  box:
    says: the little board from the drawer
    pins:
      R: {role: receive, standard: TIA-232}
      T: {role: send, standard: TTL}
      t: {role: receive, standard: TTL}
      r: {role: send, standard: TIA-232}
      G: {role: common}
      V: {role: supply, volts: 5V}
    channels: [{in: [R], out: [T]}, {in: [t], out: [r]}]
"""


def test_a_converter_of_ones_own_is_taken_first(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(MINE, encoding="utf-8")
    console = open_console(path)
    ends = console.connectors
    made = plan("J1", ends["J1"], "J2", ends["J2"], pool=console.converters).through
    assert made is not None and next(iter(made.parts)) == "box"
    assert "box-R" in {w.b.label for w in made.wires}


@pytest.mark.parametrize(
    ("old", "new", "line", "wrong"),
    [
        ("in: [R], out: [T]", "in: [T], out: [R]", 7, "pins T are not an input"),
        ("in: [R], out: [T]", "in: [R], out: [Q]", 7, "there is no pin Q in it"),
        ("{role: supply, volts: 5V}", "{role: supply}", 7, "supply pin V needs its volts"),
        ("says: the", "tells: the", 7, "there is no `tells` here"),
    ],
)
def test_what_is_wrong_with_it_is_told(
    tmp_path: Path, old: str, new: str, line: int, wrong: str
) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(MINE.replace(old, new), encoding="utf-8")
    found, problems = load(path)
    assert found is None
    assert any(wrong in p.wrong for p in problems), problems
    assert all(p.line >= 5 for p in problems)


def test_a_converter_that_does_not_fit_is_no_way() -> None:
    """Only a converter to TIA-422 at hand: nothing for a loop."""
    from halfsplit.boards.connector import settled as roles
    from halfsplit.boards.links import side
    from halfsplit.boards.through import Box

    pool: dict[str, Converter] = {"26LS31": built_in()["26LS31"]}
    box = Box(pool, [])
    a = side("A", roles("A", end_of("TIA-232 DTE")))
    b = side("B", roles("B", end_of("loop passive")))
    assert "nothing known here carries A to B" in box.join(a, b)
