"""A cable as it is: what is wrong with it, found from its joints alone."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from halfsplit.boards.connector import Wired
from halfsplit.boards.links import Port, pair_link, side, single_link
from halfsplit.boards.loops import is_active

Joint = tuple[tuple[str, str], tuple[str, str]]


@dataclass(frozen=True)
class Finding:
    """One thing wrong: a code for programs, the words, and whether it may do harm."""

    code: str
    words: str
    harm: bool = False

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return asdict(self)


def nets_of(pins: Iterable[tuple[str, str]], joints: Iterable[Joint]) -> dict[tuple[str, str], int]:
    """Number of the conductor each (end, pin) is on; pins joined share a number."""
    parent = {p: p for p in pins}

    def root(p: tuple[str, str]) -> tuple[str, str]:
        while parent.setdefault(p, p) != p:
            p = parent[p]
        return p

    for a, b in joints:
        parent[root(a)] = root(b)
    numbers: dict[tuple[str, str], int] = {}
    return {p: numbers.setdefault(root(p), len(numbers)) for p in parent}


def judge(ends: Mapping[str, Mapping[str, Wired]], joints: Sequence[Joint]) -> list[Finding]:
    """Everything wrong with a cable between the `ends` (name -> settled pins)."""
    pins = {(e, n): w for e, table in ends.items() for n, w in table.items()}
    net = nets_of(pins, joints)
    on: dict[int, list[Wired]] = {}
    for place, wired in pins.items():
        on.setdefault(net[place], []).append(wired)
    found = [*_fights(on), *_loops(ends, net)]
    for name, table in ends.items():
        for port in side(name, table).receivers:
            if port.kind != "loop":
                found += _receiver(port, net, on)
    return [*found, *_commons(pins, net, on)]


def _key(pin: Wired) -> tuple[str, str]:
    return pin.end, pin.pin


def _fights(on: Mapping[int, Sequence[Wired]]) -> list[Finding]:
    found = []
    for wired in on.values():
        drivers = [w for w in wired if w.drives]
        if len(drivers) > 1:
            names = " and ".join(w.label for w in drivers)
            words = f"two drivers on one wire: {names}; each fights the other, swap one of them"
            found.append(Finding("two-drivers", words, harm=True))
        ground = next((w for w in wired if w.role in ("common", "frame")), None)
        if drivers and ground:
            words = f"{drivers[0].label} is shorted to {ground.label}"
            found.append(Finding("shorted", words, harm=True))
    return found


def _receiver(
    port: Port, net: Mapping[Any, int], on: Mapping[int, Sequence[Wired]]
) -> list[Finding]:
    """Whether an input hears a driver, at a level, the right way round, with nothing floating."""
    if port.kind == "single":
        pin = port.plus
        drivers = [w for w in on[net[_key(pin)]] if w.drives]
        if not drivers:
            return [Finding("unheard", f"nothing drives {pin.label}")]
        judged = single_link(drivers[0], pin)
        return [] if judged.verdict == "join" else [Finding("level", judged.why, judged.harm)]
    state = {s: _held(pin, net, on) for s, pin in (("+", port.plus), ("-", port.minus))}
    labels = {"+": port.plus.label, "-": port.minus.label}
    if state["+"] is None and state["-"] is None:
        return [Finding("unheard", f"nothing drives {labels['+']}, {labels['-']}")]
    for s, other in (("+", "-"), ("-", "+")):
        if state[s] is None:
            words = (
                f"{labels[s]} floats while {labels[other]} is used: garbage that changes with the "
                "same key; hold it at the signal common"
            )
            return [Finding("floating", words)]
    plus, minus = state["+"], state["-"]
    assert plus is not None and minus is not None
    driven = [w for w in (plus, minus) if w.drives]
    if not driven:
        return [Finding("unheard", f"nothing drives {labels['+']}, {labels['-']}")]
    swapped = (plus.role == "send-" or minus.role == "send+") if len(driven) == 2 else (
        driven[0].role == "send" and ((driven[0] is plus) == (driven[0].mark[1] <= 0))
    )  # fmt: skip
    if swapped:
        words = f"{labels['+']} and {labels['-']} are swapped: everything arrives inverted"
        return [Finding("inverted", words)]
    if len(driven) == 1 and driven[0].role == "send":
        judged = pair_link(driven[0], port, [w for w in (plus, minus) if not w.drives])
        if judged.verdict != "join":
            return [Finding("level", judged.why, judged.harm)]
    return []


def _held(pin: Wired, net: Mapping[Any, int], on: Mapping[int, Sequence[Wired]]) -> Wired | None:
    """What sets the level of a pin: a driver, a common or a supply; None when it floats."""
    firm = [w for w in on[net[_key(pin)]] if w.drives or w.role in ("common", "supply")]
    return next(iter(sorted(firm, key=lambda w: not w.drives)), None)


def _commons(
    pins: Mapping[Any, Wired], net: Mapping[Any, int], on: Mapping[int, Sequence[Wired]]
) -> list[Finding]:
    joined = {
        frozenset((a.end, b.end))
        for wired in on.values()
        for a in wired if a.role == "common"
        for b in wired if b.role == "common" and b.end != a.end
    }  # fmt: skip
    found = {}
    for place, wired in pins.items():
        if not wired.drives:
            continue
        for other in on[net[place]]:
            ends = frozenset((wired.end, other.end))
            if other.role.startswith(("receive", "signal-in")) and len(ends) == 2:
                words = f"{' and '.join(sorted(ends))} share no signal common: levels float"
                if ends not in joined:
                    found[ends] = Finding("no-common", words)
    return list(found.values())


def _loops(ends: Mapping[str, Mapping[str, Wired]], net: Mapping[Any, int]) -> list[Finding]:
    """Sources in every loop: pairs joined into one circuit share it."""
    branches: list[tuple[tuple[int, int], str, bool]] = []
    for name, table in ends.items():
        found = side(name, table)
        for port in [*found.senders, *found.receivers]:
            if port.kind == "loop":
                ends_of = (net[_key(port.plus)], net[_key(port.minus)])
                branches.append((ends_of, port.plus.label, is_active(port.pins) is True))
        ground = next(iter(found.of("common")), None)
        for pin in found.of("loop-source"):
            if ground is not None:
                branches.append(((net[_key(pin)], net[_key(ground)]), pin.label, True))
    # Several loops may return to one common: what they share there makes them no single loop.
    grounds = {net[_key(p)] for t in ends.values() for p in t.values() if p.role == "common"}
    joined = [
        tuple(
            ("common" if n in grounds else "", f"{k} {n}" if n in grounds else str(n)) for n in b[0]
        )
        for k, b in enumerate(branches)
    ]
    groups = nets_of([n for pair in joined for n in pair], [(a, b) for a, b in joined])
    loops: dict[int, list[tuple[tuple[int, int], str, bool]]] = {}
    for branch, pair in zip(branches, joined, strict=True):
        loops.setdefault(groups[pair[0]], []).append(branch)
    problems = []
    for members in loops.values():
        if len(members) < 2:
            continue  # a pair, or a source, that is not connected
        sources = [m[1] for m in members if m[2]]
        names = ", ".join(m[1] for m in members)
        if not sources:
            problems.append(Finding("no-source", f"no source in the loop of {names}: no current"))
        elif len(sources) > 1:
            words = f"two sources in one loop: {' and '.join(sources)}"
            problems.append(Finding("two-sources", words, harm=True))
    return problems
