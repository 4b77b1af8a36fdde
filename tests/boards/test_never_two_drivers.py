"""Whatever the two connectors: no conductor of a plan has two drivers, no loop two sources."""

from __future__ import annotations

from collections import Counter
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from halfsplit.boards.connector import Connector, Wired, settled
from halfsplit.boards.wiring import Plan, plan

ROLES = [
    "send", "send+", "send-", "receive", "receive+", "receive-", "common", "frame", "loop-send+",
    "loop-send-", "loop-receive+", "loop-receive-", "loop-source", "supply", "unused",
]  # fmt: skip
CIRCUITS = ["TD", "RD", "RTS", "CTS", "DTR", "DSR", "DCD", "RI", "SG", "FG"]


@st.composite
def pins(draw: st.DrawFn) -> dict[str, Any]:
    if draw(st.booleans()):
        return {"circuit": draw(st.sampled_from(CIRCUITS))}
    role = draw(st.sampled_from(ROLES))
    pin: dict[str, Any] = {"role": role}
    if role in ("send", "receive"):
        pin["standard"] = draw(st.sampled_from(["TIA-232", "TIA-423", "TTL"]))
    if role.startswith("loop"):
        pin["active"] = draw(st.sampled_from([True, False, False, "unknown"]))
    if role == "loop-source":
        pin |= {"volts": draw(st.sampled_from(["12V", "24V"])), "ohms": "560R"}
    return pin


@st.composite
def connectors(draw: st.DrawFn) -> Connector:
    some = draw(st.lists(pins(), min_size=1, max_size=14))
    made: dict[str, Any] = {
        "end": draw(st.sampled_from(["DTE", "DCE", "unknown"])),
        "standard": draw(st.sampled_from(["TIA-232", "TIA-423", "TTL"])),
        "pins": {str(k): p for k, p in enumerate(some, 1)},
    }
    if draw(st.booleans()):
        made["layout"] = draw(st.sampled_from(["DB25", "DE9"]))
    return Connector.model_validate(made)


@st.composite
def loop_ends(draw: st.DrawFn) -> Connector:
    """Ends that mostly have whole loop pairs, some with a source of their own."""
    made: dict[str, Any] = {"C": {"role": "common"}}
    for word in draw(st.sampled_from([("send", "receive"), ("send",), ("receive",)])):
        for k in range(draw(st.integers(1, 2))):
            active = draw(st.sampled_from([True, False, False]))
            for s in "+-":
                made[f"{word}{k}{s}"] = {"role": f"loop-{word}{s}", "active": active}
    for k in range(draw(st.integers(0, 2))):
        made[f"source{k}"] = {"role": "loop-source", "volts": "24V", "ohms": "1k"}
    return Connector.model_validate({"pins": made})


def conductors(found: Plan) -> list[set[str]]:
    """Pins joined by wires and plain ties, by merging sets until nothing changes."""
    groups: list[set[str]] = []
    joints = [(w.a.label, w.b.label) for w in found.wires]
    joints += [(t.pin.label, t.to.label) for t in found.ties if not t.by]
    for a, b in joints:
        touching = [g for g in groups if g & {a, b}]
        groups = [g for g in groups if g not in touching] + [{a, b}.union(*touching)]
    return groups


def plans(found: Plan) -> list[Plan]:
    return [found, *(p for then in found.if_so.values() for p in plans(then))]


@settings(max_examples=400, deadline=None, derandomize=True)
@given(a=connectors(), b=connectors())
def _two_drivers_nowhere(seen: Counter[str], a: Connector, b: Connector) -> None:
    for found in plans(plan("A", a, "B", b)):
        seen[found.verdict] += 1
        table: dict[str, Wired] = {}
        for name, connector in (("A", a), ("B", b)):
            for end in ("DTE", "DCE"):
                table |= {w.label: w for w in settled(name, connector, end).values()}
        planned = {p.label: p for w in found.wires for p in (w.a, w.b)}
        table |= planned | {p.label: p for t in found.ties for p in (t.pin, t.to)}
        for group in conductors(found):
            drivers = [n for n in group if table[n].drives]
            assert len(drivers) <= 1, (drivers, found)
            assert not (drivers and any(table[n].role in ("common", "frame") for n in group))


def test_never_two_drivers_on_one_wire() -> None:
    seen: Counter[str] = Counter()
    _two_drivers_nowhere(seen)
    # The draw must reach plans that join and plans that refuse, or it tests nothing.
    assert seen["join"] + seen["marginal"] >= 40, seen
    assert seen["refuse"] >= 40, seen


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.one_of(connectors(), loop_ends()), loop_ends())
def test_one_source_in_every_loop(a: Connector, b: Connector) -> None:
    for found in plans(plan("A", a, "B", b)):
        used: list[str] = []
        for link in found.links:
            pairs = (link.sender, link.receiver)
            if not link.wires or not all(p[0].role.startswith("loop") for p in pairs):
                continue
            sources = [p[0].label for p in pairs if any(x.data.active is True for x in p)]
            sources += [link.source.label] if link.source else []
            assert len(sources) == 1, sources
            used += [link.source.label] if link.source else []
        assert len(set(used)) == len(used), "a source feeds two loops"


@settings(max_examples=200, deadline=None, derandomize=True)
@given(connectors(), connectors())
def test_no_wires_where_it_says_not_to_join(a: Connector, b: Connector) -> None:
    for found in plans(plan("A", a, "B", b)):
        assert found.verdict in ("join", "marginal", "measure", "converter", "refuse")
        if found.verdict not in ("join", "marginal"):
            assert not found.wires and not found.ties
            assert found.reasons or found.if_so
