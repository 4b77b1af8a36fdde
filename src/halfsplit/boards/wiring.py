"""The wire list between two connectors, a reason for each wire, and what to measure first."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from halfsplit.boards.before import checks_of, direction_checks
from halfsplit.boards.connector import Connector, Wired, open_questions, settled
from halfsplit.boards.converters import Converter, built_in
from halfsplit.boards.links import Port, Side, best_link, side, single_link
from halfsplit.boards.loops import is_active
from halfsplit.boards.plan import Check, Link, Tie, Wire
from halfsplit.boards.through import Box, Through

# What an input handshake listens to, best first: the other end's circuit of that meaning.
_ANSWERS = {
    "CTS": ("RTS", "CTS"), "RTS": ("CTS", "RTS"), "DSR": ("DTR", "DSR"), "DTR": ("DSR", "DTR"),
    "DCD": ("DCD",), "RI": ("RI",),
}  # fmt: skip
# What holds an input at its own end when the other end has no such output.
_OWN = {"CTS": ("RTS",), "RTS": ("CTS",), "DSR": ("DTR",), "DTR": ("DSR", "DCD"), "DCD": ("DTR",)}
_WHY = {
    "CTS": "without it this end may not transmit",
    "RTS": "the other end asks to send by it",
    "DSR": "without it this end thinks nothing is there",
    "DTR": "without it this end thinks nothing is there",
    "DCD": "some receivers stay shut without it",
    "RI": "only a telephone line rings",
}


@dataclass
class Plan:
    """A cable between two connectors.

    `verdict`: join, marginal, measure (an end is not known), converter, or refuse. Where it is
    converter no wire joins the ends alone, and `through` is the way with one.
    """

    a: str
    b: str
    verdict: str
    links: list[Link] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    ties: list[Tie] = field(default_factory=list)
    checks: list[Check] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    if_so: dict[str, Plan] = field(default_factory=dict)
    through: Through | None = None

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "between": [self.a, self.b],
            "verdict": self.verdict,
            "reasons": self.reasons,
            "links": [k.as_dict() for k in self.links],
            "wires": [w.as_dict() for w in self.wires],
            "ties": [t.as_dict() for t in self.ties],
            "checks": [c.as_dict() for c in self.checks],
            "if": {k: p.as_dict() for k, p in self.if_so.items()},
            "converter": self.through and self.through.as_dict(),
        }


def plan(
    name_a: str,
    a: Connector,
    name_b: str,
    b: Connector,
    ends: Mapping[str, str] | None = None,
    pool: Mapping[str, Converter] | None = None,
) -> Plan:
    """Plan the cable. `ends` overrides an end's DTE or DCE, such as one just measured.

    `pool`: converters at hand, tried before those that come with the program.
    """
    ends = {name_a: a.end, name_b: b.end} | dict(ends or {})
    open_ends = [
        n for n, c in ((name_a, a), (name_b, b)) if ends[n] == "unknown" and open_questions(c)
    ]
    sides = [side(n, settled(n, c, ends[n])) for n, c in ((name_a, a), (name_b, b))]
    unsure = [p.pins for s in sides for p in (*s.senders, *s.receivers)
              if p.kind == "loop" and is_active(p.pins) == "unknown"]  # fmt: skip
    if open_ends:
        return _ask(name_a, a, name_b, b, ends, open_ends, pool)
    found = _wired(*sides)
    if found.verdict == "converter":
        found.through = _through(sides[0], sides[1], {**(pool or {}), **built_in()})
        if found.through.lacking and unsure:
            found.verdict, found.reasons = "measure", found.through.lacking
            found.through = None
    if unsure and found.verdict == "refuse":
        found.verdict = "measure"
    wires = found.through.wires if found.through else found.wires
    joined = {w.a.end for w in wires if w.a.role == "common"}
    apart = found.through is not None and not {name_a, name_b} <= joined
    found.checks = checks_of(sides, wires, a.mains and b.mains and not apart)
    return found


def _ask(
    name_a: str,
    a: Connector,
    name_b: str,
    b: Connector,
    ends: dict[str, str],
    unknown: list[str],
    pool: Mapping[str, Converter] | None,
) -> Plan:
    """No wires yet: what tells which pin drives, and the plan for each answer."""
    found = Plan(name_a, name_b, "measure")
    for name in unknown:
        connector = a if name == name_a else b
        found.checks += direction_checks(name, connector)
        found.reasons.append(
            f"{name} may be DTE or DCE: the data pin that idles at mark with a load on it drives"
        )
    first = unknown[0]
    for answer in ("DTE", "DCE"):
        then = {**ends, first: answer}
        found.if_so[f"{first} is {answer}"] = plan(name_a, a, name_b, b, then, pool)
    return found


def _wired(a: Side, b: Side) -> Plan:
    found = Plan(a.name, b.name, "join")
    spare = [*a.of("loop-source"), *b.of("loop-source")]
    for s, r in ((a, b), (b, a)):
        one = best_link(s, r, spare)
        if one is None:
            what = "nothing to send with" if not s.senders else f"{r.name} has nothing to hear with"
            found.reasons.append(f"{s.name} to {r.name}: no line this way ({what})")
            continue
        spare = [p for p in spare if p is not one.source]
        found.links.append(one)
        found.wires += one.wires
        found.ties += one.ties
    found.verdict = _verdict(found.links)
    if not found.links:
        found.reasons.append("neither end can send to the other")
    found.reasons += [k.why for k in found.links if k.verdict != "join"]
    voltage = any(k.sender[0].role[:4] != "loop" and k.wires for k in found.links)
    if voltage:
        _common(found, a, b)
    if found.verdict in ("refuse", "converter"):
        # Nothing is joined by halves: a converter sits in the middle, and has a list of its own.
        found.wires, found.ties = [], []
        return found
    _frames(found, a, b)
    for listener, speaker in ((a, b), (b, a)):
        _handshakes(found, listener, speaker, partial(_by_wire, found))
    _unused_pairs(found, a)
    _unused_pairs(found, b)
    return found


def _through(a: Side, b: Side, pool: Mapping[str, Converter]) -> Through:
    """The same two ends with converters between; nothing is wired where a way is lacking."""
    box = Box(pool, [*a.of("loop-source"), *b.of("loop-source")])
    found = box.found
    for sender, receiver in ((a, b), (b, a)):
        if sender.senders and receiver.receivers:
            wrong = box.join(sender, receiver)
            found.lacking += [wrong] if wrong else []
    if not found.lacking:
        _frames(found, a, b)
        for listener, speaker in ((a, b), (b, a)):
            _handshakes(found, listener, speaker, partial(_by_box, box, listener, speaker))
        _unused_pairs(found, a)
        _unused_pairs(found, b)
        box.finish(a, b)
    return Through(lacking=found.lacking) if found.lacking else found


def _by_wire(found: Plan, answer: Wired, pin: Wired, why: str) -> bool:
    """Join an output handshake to an input by a wire, if it will do."""
    if single_link(answer, pin).verdict != "join":
        return False
    found.wires.append(Wire(answer, pin, why))
    return True


def _by_box(box: Box, listener: Side, speaker: Side, answer: Wired, pin: Wired, why: str) -> bool:
    """Join an output handshake to an input by a wire or through converters."""
    out = Side(speaker.name, speaker.pins, [Port("single", (answer,))], [])
    into = Side(listener.name, listener.pins, [], [Port("single", (pin,))])
    return not box.join(out, into, why)


def _verdict(links: list[Link]) -> str:
    order = ("refuse", "converter", "marginal", "join")
    return next((v for v in order if any(k.verdict == v for k in links)), "refuse")


def _common(found: Plan, a: Side, b: Side) -> None:
    ours, theirs = a.of("common"), b.of("common")
    if not ours or not theirs:
        lacking = a.name if not ours else b.name
        single = any(len(k.sender) == 1 or len(k.receiver) == 1 for k in found.links)
        found.reasons.append(f"{lacking} has no signal common on this connector")
        if single:
            found.verdict = "refuse"
        return
    why = "every level is measured against it; without it a line floats"
    found.wires.append(Wire(ours[0], theirs[0], why))


def _frames(found: Plan | Through, a: Side, b: Side) -> None:
    if a.of("frame") and b.of("frame"):
        why = "screen of the cable, at both plugs; never used as signal common"
        found.wires.append(Wire(a.of("frame")[0], b.of("frame")[0], why))


def _handshakes(
    found: Plan | Through,
    listener: Side,
    speaker: Side,
    join: Callable[[Wired, Wired, str], bool],
) -> None:
    """Every input handshake of `listener`: from the other end, else from its own output.

    `join` joins an output of the other end to an input, and says whether it could.
    """
    outs = {str(p.circuit): p for p in speaker.of("signal-out")}
    own = {str(p.circuit): p for p in listener.of("signal-out")}
    joined: dict[str, Wired] = {}
    for pin in listener.of("signal-in"):
        name = str(pin.circuit)
        if name == "RI":
            continue
        answer = next((outs[c] for c in _ANSWERS.get(name, ()) if c in outs), None)
        if answer is not None and join(answer, pin, f"{name}: {_WHY[name]}"):
            joined[name] = answer
    for pin in listener.of("signal-in"):
        name = str(pin.circuit)
        if name in joined or name == "RI":
            continue
        partner = next((p for p in listener.of("signal-in") if p.circuit == "DSR"), None)
        if name == "DCD" and partner is not None and "DSR" in joined:
            why = "DCD: the other end has none; taken with DSR, as in a crossed cable"
            found.ties.append(Tie(pin, partner, "", why))
            continue
        mate = next((own[c] for c in _OWN.get(name, ()) if c in own), None)
        if mate is not None and single_link(mate, pin).verdict == "join":
            why = f"{name}: {_WHY[name]}, and the other end gives nothing; held by its own output"
            found.ties.append(Tie(pin, mate, "", why))
        else:
            found.reasons.append(f"{pin.label}: nothing to hold it on; {_WHY.get(name, '')}")


def _unused_pairs(found: Plan | Through, end: Side) -> None:
    """A differential input that nothing drives is held at mark, else it prints garbage."""
    used = {p for k in found.links for p in k.receiver}
    for port in end.receivers:
        if port.kind != "pair" or port.plus in used:
            continue
        ground, supply = end.of("common"), [*end.of("supply"), *end.of("loop-source")]
        why = "this input is not used; left open it may print garbage, so it is held at mark"
        if ground:
            found.ties.append(Tie(port.minus, ground[0], "", why))
        if ground and supply:
            found.ties.append(Tie(port.plus, supply[0], "10 kΩ", why))
        else:
            text = f"{port.plus.label}: hold it at +1 V or more through 10 kΩ, idle at mark"
            found.reasons.append(text)
