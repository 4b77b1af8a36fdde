"""Current loops: exactly one source in each, enough current, the right way round."""

from __future__ import annotations

from collections.abc import Sequence

from halfsplit.boards.connector import Wired
from halfsplit.boards.plan import Link, Margin, Wire
from halfsplit.boards.standards import LOOP_DROP_LED, LOOP_DROP_SWITCH, LOOP_MARK
from halfsplit.quantity import show

# A source when nothing is written: 24 V through 1.2 kohm makes 20 mA into a short. Common practice,
# no published source.
SOURCE_VOLTS = 24.0
SOURCE_OHMS = 1200.0


def drop(pin: Wired) -> float:
    """Volts lost in a loop pair at mark: as written, else of a diode or a transistor."""
    if pin.data.drop is not None:
        return float(pin.data.drop)
    return LOOP_DROP_LED if pin.role.startswith("loop-receive") else LOOP_DROP_SWITCH


def current(volts: float, drops: float, ohms: float) -> float:
    """Mark current [A] of a source of `volts` over `drops` [V] and all `ohms` in series."""
    return max(0.0, (volts - drops) / ohms) if ohms > 0 else float("inf")


def is_active(pair: Sequence[Wired]) -> bool | str:
    """Whether a loop pair brings a source: True, False, or "unknown".

    Unknown when the file does not say, or says one thing at + and another at -.
    """
    said = {p.data.active for p in pair if p.data.active is not None}
    return said.pop() if len(said) == 1 else "unknown"


def loop_link(
    s: tuple[Wired, ...], r: tuple[Wired, ...], commons: Sequence[Wired], spare: Sequence[Wired]
) -> Link:
    """Judge one loop: sending pair `s`, receiving pair `r`, sources not used yet in `spare`."""
    active = (is_active(s), is_active(r))
    who = {0: s[0].label, 1: r[0].label}
    if "unknown" in active:
        names = " and ".join(who[k] for k in (0, 1) if active[k] == "unknown")
        why = f"whether {names} brings a source is not known: measure it open, then say active"
        return Link("refuse", s, r, why)
    if all(active):
        why = (
            f"two sources in one loop: {who[0]} and {who[1]} are both active, and would fight or "
            "cancel; strap one end passive"
        )
        return Link("refuse", s, r, why)
    if any(active):
        giver = s[0] if active[0] else r[0]
        why = f"{giver.label} is the one source; current leaves its + pin, enters the other + pin"
        pair = (Wire(s[0], r[0], why), Wire(s[1], r[1], "the way back of the loop"))
        return _judged(s, r, pair, _volts(giver), _ohms(giver), None)
    for source in spare:
        ground = next((c for c in commons if c.end == source.end), None)
        if ground is None:
            continue
        why = f"both pairs are passive, so {source.label} is the one source"
        wires = (
            Wire(source, r[0], why),
            Wire(r[1], s[0], "on through the sender"),
            Wire(s[1], ground, "back to the source's common"),
        )
        return _judged(s, r, wires, _volts(source), _ohms(source), source)
    ohms = show((SOURCE_VOLTS - drop(s[0]) - drop(r[0])) / 20e-3 - _series(s, r), "ohm", 3)
    why = (
        f"no source in the loop: {who[0]} and {who[1]} are both passive, so no current ever flows "
        f"and the line reads as break; add {SOURCE_VOLTS:g} V with {ohms} in series, or strap one "
        "end active"
    )
    return Link("refuse", s, r, why)


def _volts(pin: Wired) -> float:
    return SOURCE_VOLTS if pin.data.volts is None else pin.data.volts


def _ohms(pin: Wired) -> float:
    fallback = SOURCE_OHMS if pin.data.volts is None else 0.0
    return fallback if pin.data.ohms is None else float(pin.data.ohms)


def _series(s: tuple[Wired, ...], r: tuple[Wired, ...]) -> float:
    return sum(p.data.ohms or 0.0 for p in (*s, *r))


def _judged(
    s: tuple[Wired, ...],
    r: tuple[Wired, ...],
    wires: tuple[Wire, ...],
    volts: float,
    source_ohms: float,
    source: Wired | None,
) -> Link:
    passive = [p for p in (s, r) if is_active(p) is False]
    ohms = source_ohms + sum(p.data.ohms or 0.0 for pair in passive for p in pair)
    amps = current(volts, drop(s[0]) + drop(r[0]), ohms)
    least = max([p.data.least for p in (*s, *r) if p.data.least] or [LOOP_MARK[0]])
    most = LOOP_MARK[1]
    margins = (
        Margin(f"mark current at {r[0].label}", amps - least, "A", amps),
        Margin(f"mark current below {show(most, 'A', 2)}", most - amps, "A", amps),
    )
    flows = f"{show(amps, 'A', 3)} at mark ({volts:g} V, {show(ohms, 'ohm', 3)} in all)"
    if amps > most:
        return Link("refuse", s, r, f"{flows}: too much, add series resistance", margins=margins)
    if amps < least:
        want = (volts - drop(s[0]) - drop(r[0])) / least - (ohms - source_ohms)
        most_ohms = show(want, "ohm", 3)
        why = f"{flows}: below {show(least, 'A', 2)}; the source resistor at most {most_ohms}"
        return Link("marginal", s, r, why, wires, (), margins, source)
    return Link("join", s, r, flows, wires, (), margins, source)
