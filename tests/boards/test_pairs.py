"""Cables between pairs of connectors, each against an answer argued by hand (pairs.yaml)."""

from __future__ import annotations

from itertools import product
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from halfsplit.boards.connector import Connector, Wired
from halfsplit.boards.plan import Link
from halfsplit.boards.wiring import Plan, plan

PAIRS: list[dict[str, Any]] = YAML(typ="safe").load(
    Path(__file__).with_name("pairs.yaml").read_text(encoding="utf-8")
)


def end_of(text: str) -> Connector:
    """The connector of words such as ``TIA-232 DTE`` or ``loop active``."""
    standard, *rest = text.split()
    if standard == "loop":
        active = {"active": True, "passive": False, "unknown": "unknown"}[rest[-1]]
        pins: dict[str, Any] = {
            f"{k}{s}": {"role": f"loop-{w}{s}", "active": active}
            for k, w in (("S", "send"), ("R", "receive"))
            for s in "+-"
        }
        return Connector.model_validate({"pins": pins})
    if standard in ("TIA-422", "TTL"):
        names = ["TD+", "TD-", "RD+", "RD-", "SG"] if standard == "TIA-422" else ["TD", "RD", "SG"]
        pins = {n: {"circuit": n} for n in names}
        return Connector.model_validate({"end": rest[-1], "standard": standard, "pins": pins})
    made: dict[str, Any] = {"end": rest[-1], "standard": standard, "layout": "DB25"}
    if "9" in rest:
        made["pins"] = {2: {"circuit": "TD", "mark": "-9..-5V"}}
    return Connector.model_validate(made)


def name_of(pin: Wired) -> str:
    return pin.circuit or pin.pin


def said(link: Link) -> str:
    """A link in the words of the table."""
    ends = {w: (w.a, w.b) for w in link.wires}
    receiver = next((b for a, b in ends.values() if a == link.sender[0]), None)
    if receiver is None:
        driven = link.receiver[0]
        if len(link.receiver) == 2 and len(link.sender) == 1 and link.margins:
            driven = link.receiver[1]  # a single negative-mark line goes to the - side
        receiver = driven
    text = f"{name_of(link.sender[0])}>{name_of(receiver)} {link.verdict}"
    volts = [m.spare for m in link.margins if m.unit == "V"]
    return text + (f" {min(volts):.1f}" if volts else "")


def compared(link: Link, want: str) -> None:
    got = said(link)
    assert got == want or got.startswith(want + " "), f"{got} for {want}"


def test_the_table_covers_what_it_says() -> None:
    assert len(PAIRS) >= 40
    standards = ["TIA-232", "TIA-423", "TIA-422", "TTL", "loop"]
    met = {frozenset((p["a"].split()[0], p["b"].split()[0])) for p in PAIRS}
    assert met == {frozenset(two) for two in product(standards, repeat=2)}
    for standard in standards[:4]:
        ends = {e.split()[-1] for p in PAIRS for e in (p["a"], p["b"]) if e.startswith(standard)}
        assert ends == {"DTE", "DCE", "unknown"}
    assert all(p["why"] for p in PAIRS)


@pytest.mark.parametrize("pair", PAIRS, ids=[f"{p['a']} - {p['b']}" for p in PAIRS])
def test_pair(pair: dict[str, Any]) -> None:
    a, b = end_of(pair["a"]), end_of(pair["b"])
    found = plan("A", a, "B", b)
    assert found.verdict == pair["verdict"], found.reasons
    for key, sender in (("ab", "A"), ("ba", "B")):
        if key in pair:
            (link,) = [k for k in found.links if k.sender[0].end == sender]
            compared(link, pair[key])
    if found.verdict != "join":
        assert not found.wires and found.reasons
    for answers, want in pair.get("then", {}).items():
        compared(_follow(found, answers.split()), want)


def _follow(found: Plan, answers: list[str]) -> Link:
    for answer in answers:
        (found,) = [p for words, p in found.if_so.items() if words.endswith(answer)]
    assert not found.if_so
    return next(k for k in found.links if k.sender[0].end == "A")


@pytest.mark.parametrize("pair", PAIRS, ids=[f"{p['a']} - {p['b']}" for p in PAIRS])
def test_the_other_way_round_is_the_same_cable(pair: dict[str, Any]) -> None:
    one = plan("A", end_of(pair["a"]), "B", end_of(pair["b"]))
    other = plan("B", end_of(pair["b"]), "A", end_of(pair["a"]))
    assert one.verdict == other.verdict
    assert {frozenset((w.a.label, w.b.label)) for w in one.wires} == {
        frozenset((w.a.label, w.b.label)) for w in other.wires
    }
