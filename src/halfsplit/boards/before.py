"""What to measure at each pin before two machines are joined, and what a wrong reading means."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from halfsplit.boards.connector import DRIVERS, INPUTS, Connector, Wired, open_questions
from halfsplit.boards.links import Side
from halfsplit.boards.loops import is_active
from halfsplit.boards.plan import Check, Wire
from halfsplit.boards.standards import LOAD_OHMS, RECEIVER_OPEN, STANDARDS
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

# Between two commons that will be joined: more than this and the cable carries mains current.
# Common practice, no published source.
_COMMONS = 1.0  # V
_LOAD = show(LOAD_OHMS, "ohm", 2)
TOUCH = (
    "between the two commons, above 30 V rms, 42.4 V peak or 60 V direct can hurt (IEC 61010-1): "
    "one hand, nothing touched; stop there and have the earth put right by one licensed for mains"
)


def checks_of(sides: Sequence[Side], wires: Sequence[Wire], both_mains: bool) -> list[Check]:
    """Idle volts of every pin the plan joins, and of the commons against each other."""
    found = []
    commons = [next(iter(s.of("common")), None) for s in sides]
    if both_mains and all(commons):
        a, b = commons[0], commons[1]
        assert a is not None and b is not None
        found.append(
            Check(
                a.label, b.label, -_COMMONS, _COMMONS,
                "the two commons, direct and AC, both machines on, cable not joined",
                "do not join: an earth is missing or a supply leaks", TOUCH,
            )
        )  # fmt: skip
    touched = {p.label for w in wires for p in (w.a, w.b)}
    for s, common in zip(sides, commons, strict=True):
        to = common.label if common else f"common of {s.name}"
        for pin in s.pins.values():
            if wires and pin.label not in touched:
                continue
            if pin.role in (*DRIVERS, *INPUTS):
                found.append(_voltage(pin, to))
            elif pin.role in ("loop-send+", "loop-receive+"):
                found.append(_loop(pin, s))
            elif pin.role == "loop-source":
                volts = pin.data.volts or 0.0
                low, high = sorted((0.9 * volts, 1.1 * volts))
                text = "loop source, nothing connected"
                found.append(Check(pin.label, to, low, high, text, "find why before joining"))
    return found


def _voltage(pin: Wired, to: str) -> Check:
    if pin.role in ("send+", "send-"):
        high = STANDARDS["TIA-422"].peak
        text = "driver of a pair: + above - by 2 V or more at idle"
        return Check(
            pin.label, to, 0.0, high, text, "+ below -: the names are swapped, or it sends"
        )
    if pin.drives:
        low, high = pin.mark
        text = f"idle of a driver, {_LOAD} to common across it"
        if pin.role == "signal-out":
            low, high = min(low, pin.space[0]), max(high, pin.space[1])
            text = f"a handshake output, either state, {_LOAD} to common across it"
        wrong = "near 0 V: it is an input, or its driver or supply is dead"
        if pin.role != "signal-out" and pin.standard != "TTL":
            wrong += "; the other sign: it sends, or holds a break"
        return Check(pin.label, to, low, high, text, wrong)
    wrong = "stiff and beyond this: it is a driver, and two drivers would meet; do not join"
    high = RECEIVER_OPEN
    if pin.standard == "TTL":
        high = STANDARDS["TTL"].peak
        wrong = "stiff when loaded: it is a driver, and two drivers would meet; do not join"
    return Check(pin.label, to, -RECEIVER_OPEN, high, "an input, open", wrong)


def _loop(pin: Wired, s: Side) -> Check:
    minus = next(iter(s.of(pin.role[:-1] + "-")), None)
    to = minus.label if minus else "its - pin"
    state = is_active([p for p in (pin, minus) if p is not None])
    volts = pin.data.volts or 24.0
    if state is True:
        text = "active pair, open: the source's volts"
        return Check(pin.label, to, 0.8 * volts, 1.2 * volts, text, "0 V: it is passive, or sends")
    if state is False:
        text = "passive pair, open: nothing"
        return Check(pin.label, to, -0.5, 0.5, text, "volts here: it is active; strap it passive")
    text = "loop pair, open: near 0 V says passive, 5 V or more says active"
    return Check(pin.label, to, -0.5, 0.5, text, "active: say so in the file, and plan again")


def direction_checks(name: str, connector: Connector) -> list[Check]:
    """Which of the data pins drives: mark with a load across it is a driver, DTE if it is TD."""
    pins = connector.all_pins()
    ground = next((k for k, p in pins.items() if p.circuit == "SG" or p.role == "common"), "")
    found = []
    for number in open_questions(connector):
        pin = pins[number]
        if pin.circuit not in ("TD", "RD", "TD+", "RD+"):
            continue
        rules = STANDARDS[str(pin.standard or connector.standard)]
        dte = pin.circuit.startswith("TD")
        low, high = rules.mark
        means = f"driver at idle, {_LOAD} across it: {name} is {'DTE' if dte else 'DCE'}"
        other = f"near 0 V: an input, so {name} is {'DCE' if dte else 'DTE'}"
        to = f"{name}-{ground}" if ground else "common"
        if rules.differential:
            partner = next((k for k, p in pins.items() if p.circuit == pin.circuit[:2] + "-"), "")
            to = f"{name}-{partner}"
        found.append(Check(f"{name}-{number} ({pin.circuit})", to, low, high, means, other))
    return found


@dataclass(frozen=True)
class Judged:
    """An idle voltage that was read, held against what should be there."""

    at: str
    volts: float
    good: bool
    words: str

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return asdict(self)


def judged(checks: Sequence[Check], idle: Mapping[str, Mapping[str, float]]) -> list[Judged]:
    """What idle volts (end -> pin -> volts) say where a check says what they should be."""
    found = []
    for check in checks:
        end, _, pin = check.at.partition(" ")[0].rpartition("-")
        value = idle.get(end, {}).get(pin)
        if value is None:
            continue
        good = check.low <= value <= check.high
        words = f"{check.at} reads {volts(value)}, "
        limits = f"{volts(check.low)} to {volts(check.high)}"
        if good:
            words += f"as it should ({limits})"
        else:
            words += f"and should read {limits} ({check.means}); {check.otherwise}"
        found.append(Judged(check.at, value, good, words))
    return found


def end_measured(connector: Connector, idle: Mapping[str, float]) -> str:
    """DTE, DCE or unknown from idle volts at its data pins, measured with a load across each.

    `idle` maps pin to volts against common (a pair's + against its -). One pin of the two at mark
    decides; both or neither does not.
    """
    votes = set()
    for number in open_questions(connector):
        pin = connector.all_pins()[number]
        if pin.circuit not in ("TD", "RD", "TD+", "RD+") or number not in idle:
            continue
        rules = STANDARDS[str(pin.standard or connector.standard)]
        value = idle[number]
        driver = value <= rules.mark_at if rules.mark_at < 0 else value >= rules.mark_at
        if driver:
            votes.add("DTE" if pin.circuit.startswith("TD") else "DCE")
    return votes.pop() if len(votes) == 1 else "unknown"
