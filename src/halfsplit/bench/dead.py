"""What a meter shows between two points of the dead machine, and whether it can decide anything."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import near
from halfsplit.bench import dead_loads
from halfsplit.bench.blocks import only_of_parts
from halfsplit.bench.dead_advice import Judge, across
from halfsplit.bench.hazards import DISCHARGED, before_dead_reading
from halfsplit.bench.session import Session
from halfsplit.circuit.netlist import Overrides
from halfsplit.faults.dead import Ask, meter_sigma
from halfsplit.faults.dead_table import DeadTable, dead_tables
from halfsplit.faults.ohmmeter import Ohmmeter, ohmmeters
from halfsplit.parts.base import Part
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

DEFAULT_OHMS, DEFAULT_DIODE = "auto", "diode"
SLOW = 1.0  # s of charging that is worth telling
# Share of the meter's own volts from which a capacitor counts as lying in the reading.
TAKES_PART = 0.02
HALF = 0.5  # share from which it counts as lying across the points
# Capacitors below both of these hold nothing worth a caution: common practice, no published source.
SMALL, SPARK = 1e-6, 1e-3  # F, J
MOST_NAMED = 8
RULES = (
    "In circuit, parallel paths only lower a reading: one above the marking (and its tolerance) "
    "means that part is bad, or cut off.",
    "One below the marking accuses nobody yet: compare it with the band above, which has the "
    "network in it.",
    "Measure the other polarity too: where the two differ, a junction is part of the reading.",
)


def find_ohmmeter(name: str | None, diode: bool) -> Ohmmeter:
    """Profile named, or the usual one. Raises NotFoundError or ProblemsError."""
    known = ohmmeters()
    if name is None:
        return known[DEFAULT_DIODE if diode else DEFAULT_OHMS]
    if name not in known:
        close = near(name, known)
        listed = ", ".join(known)
        hint = f"did you mean {close}? " if close else ""
        raise NotFoundError(f"there is no meter {name}; {hint}there are {listed}")
    if diode and known[name].test != "diode":
        wrong = f"{name} is an ohms range, and --diode asks for a diode test"
        raise ProblemsError([Problem("", 0, 0, "meter", wrong, f"--meter {DEFAULT_DIODE}")])
    return known[name]


def find_faults(bench: Session, names: Sequence[str]) -> Overrides:
    """Changes of faults such as "C4 short", together. Raises NotFoundError naming the nearest."""
    known = {h.name.lower(): h for h in bench.standard if h.faults}
    changes: Overrides = {}
    for name in names:
        found = known.get(" ".join(name.lower().split()))
        if found is None:
            close = near(name.lower(), list(known))
            hint = f"; did you mean {known[close].name}?" if close else ""
            raise NotFoundError(f"there is no fault {name}{hint}")
        changes |= found.changes
    return changes


def shown(value: float | None, meter: Ohmmeter) -> str:
    """A reading in words; None is over-range."""
    if value is None:
        return "OL"
    return volts(value) if meter.test == "diode" else show(value, "ohm", 3)


def ohms_dict(
    bench: Session,
    first: str,
    second: str,
    meter: Ohmmeter,
    condition: Condition,
    faults: Sequence[str] = (),
) -> dict[str, Any]:
    """Both polarities with bands, the parts responsible, what decides, advice and cautions.

    Raises NotFoundError for an unknown point and ProblemsError when both are one net.
    """
    pair = (bench.net(first), bench.net(second))
    if pair[0] == pair[1]:
        wrong = "both leads would be on one net"
        raise ProblemsError([Problem("", 0, 0, second, wrong, "two different points")])
    circuit = bench.dead.circuit
    laid = find_faults(bench, faults)
    both = [pair, pair[::-1]]
    variants: list[tuple[Overrides, Overrides]] = [({}, {}), (laid, {})]
    tables = dead_tables(circuit, both, condition, meter, variants, bench.dead.moves)
    row = 1 if faults else 0
    readings = [_reading(tables[p], p, row, meter) for p in both]
    judge = Judge(bench, pair, meter, condition)
    listed = [judge.part(ref) for ref in across(bench, pair, condition)]
    # Of a valve or a transformer there may be a pin on either net and nothing in between.
    decided = [item for item in listed if item["modes"]]
    responsible = _responsible(bench, pair, meter, condition, laid)
    loads = [r["load"] for r in responsible if r["load"]]
    advice = _advice(judge, decided, loads, laid, meter)
    data: dict[str, Any] = {
        "points": [first, second],
        "nets": list(pair),
        "meter": meter.as_dict(),
        "poles": poles(meter),
        "condition": condition.as_dict(),
        "faults": list(faults),
        "readings": readings,
        "healthy": [_reading(tables[p], p, 0, meter) for p in both] if faults else None,
        "responsible": responsible[:MOST_NAMED],
        "parts": decided,
        "verdict": "; ".join([*dead_loads.mostly(responsible, readings), _verdict(decided)]),
        "advice": advice,
        "rules": list(RULES) if meter.test == "ohms" else [RULES[2]],
        "unknown": circuit.unknown(*pair),
    }
    data |= _charge(bench, pair, meter, condition)
    data["before"] = before_dead_reading(bench.machine, bench.condition, *pair)
    return data


def poles(meter: Ohmmeter) -> str:
    """A word of caution where the leads are not what their colours say, else nothing."""
    if meter.red == "positive":
        return ""
    return (
        "on this meter the black lead is the positive one: a junction conducts with black on its "
        "anode, red on its cathode"
    )


def _advice(
    judge: Judge,
    decided: Sequence[dict[str, Any]],
    loads: Sequence[str],
    laid: Overrides,
    meter: Ohmmeter,
) -> list[dict[str, Any]]:
    """What to do, least work first: loads in the reading come off before anything at a part."""
    if not loads:
        return judge.advice(decided)
    first, then = dead_loads.take_off(judge, loads, laid)
    without = first["ways"][0]["shows"]
    if without is not None:
        reads = " / ".join(shown(v, meter) for v in without)
        first["text"] += f": {reads} without {'it' if len(loads) == 1 else 'them'}"
    return [first, *then]


def rail_reading(table: DeadTable, pair: tuple[str, str], meter: Ohmmeter) -> str:
    """A reading of the healthy machine with its band, in a few words."""
    said = _reading(table, pair, 0, meter)
    if not said["solved"]:
        return "not solved"
    if said["over"]:
        return "OL"
    ends = (said["low"], said["high"])
    low, high = ("OL" if e is None else show(e, "ohm", 2) for e in ends)
    return f"{show(said['shows'], 'ohm', 3)} ({low} to {high})"


def healthy_reading(
    bench: Session, pair: tuple[str, str], meter: Ohmmeter, condition: Condition
) -> dict[str, Any]:
    """What a meter shows between two nets of the healthy machine, with its band [ohm or V].

    Raises ProblemsError while blocks stand in for parts.
    """
    only_of_parts(bench.assembly, "resistances")
    same: list[tuple[Overrides, Overrides]] = [({}, {})]
    found = dead_tables(bench.dead.circuit, [pair], condition, meter, same, bench.dead.moves)
    return _reading(found[pair], pair, 0, meter)


def _reading(table: DeadTable, pair: tuple[str, str], row: int, meter: Ohmmeter) -> dict[str, Any]:
    over, ok = bool(table.over[row]), bool(table.ok[row])
    low, high = (float(ends[row]) for ends in table.bands(meter))
    one = meter.ranges[int(table.range[row])]
    return {
        "red": pair[0],
        "black": pair[1],
        "solved": ok,
        "shows": None if over or not ok else meter.unscale(float(table.x[row])),
        "over": over,
        "low": low if ok and not over else None,
        "high": high if ok and not over and high <= meter.ranges[-1].top else None,
        "range": {"volts": one.volts, "amps": one.amps, "inside": one.inside, "top": one.top},
    }


def _responsible(
    bench: Session,
    pair: tuple[str, str],
    meter: Ohmmeter,
    condition: Condition,
    laid: Overrides,
) -> list[dict[str, Any]]:
    """Loads and parts whose absence moves the reading past the meter's own error, most first."""
    circuit, parts = bench.dead.circuit, bench.assembly.parts
    loads = dead_loads.among(bench.assembly, condition)
    named = [("", net, words, nets) for net, (words, nets) in loads.items()]
    named += [(r, "", p.label(), set(p.terminals().values())) for r, p in parts.items()]
    out = [dead_loads.gone(load) if load else circuit.gone(ref) for ref, load, _, _ in named]
    both = [pair, pair[::-1]]
    asks = [Ask(*p, laid, without) for p in both for without in [{}, *out]]
    found = circuit.read(asks, condition, meter)
    x = meter.scale(np.nan_to_num(found.value)).reshape(2, -1)
    over, ok = found.over.reshape(2, -1), found.ok.reshape(2, -1)
    error = 2.0 * meter_sigma(meter, found.value, found.range).reshape(2, -1)
    listed: list[tuple[float, dict[str, Any]]] = []
    for k, (ref, load, what, nets) in enumerate(named, 1):
        moved = np.where(over[:, k] & over[:, 0], 0.0, np.abs(x[:, k] - x[:, 0]))
        moved = np.where(ok[:, k] & ok[:, 0], moved, 0.0)
        counts = moved > error[:, 0]
        if counts.any():
            side = int(np.argmax(np.where(counts, moved, 0.0)))
            at = side * (len(named) + 1) + k
            item = {
                "part": ref or f"load on {load}",
                "load": load,
                "what": what,
                "across": set(pair) <= nets,
                "red": both[side][0],
                "without": None if over[side, k] else float(found.value[at]),
            }
            listed.append((float(moved[side]), item))
    listed.sort(key=lambda found: -found[0])
    return [item for _, item in listed]


def _verdict(decided: Sequence[dict[str, Any]]) -> str:
    """One sentence for the pair."""
    if not decided:
        return "no part stands straight across these points: the reading is the network's own"
    words = []
    for item in decided:
        blind = [m["mode"] for m in item["modes"] if m["told"] is False]
        unseen = [m["mode"] for m in item["modes"] if m["told"] is None]
        seen = [m["mode"] for m in item["modes"] if m["told"]]
        if not seen and not blind:  # nothing of it shows on any ohmmeter: nothing is decided
            continue
        if seen and unseen and not blind:
            words.append(
                f"decides about {item['part']} {', '.join(seen)}; no ohmmeter shows it "
                f"{', '.join(unseen)}"
            )
        elif not blind:
            words.append(f"decides about {item['part']}")
        elif len(blind) == sum(m["told"] is not None for m in item["modes"]):
            words.append(f"inconclusive about {item['part']}")
        else:
            words.append(f"inconclusive about {item['part']} {', '.join(blind)}")
    return "; ".join(words) or "no ohmmeter shows anything of what stands across these points"


def _charge(
    bench: Session, pair: tuple[str, str], meter: Ohmmeter, condition: Condition
) -> dict[str, Any]:
    """Capacitors that slow the reading down, and those that may hold a charge across it."""
    circuit = bench.dead.circuit
    ask = Ask(*pair)
    seen = abs(float(circuit.read([ask], condition, meter).volts[0]))
    settle, charged = [], []
    for item in circuit.charging(ask, condition, meter):
        if not seen or abs(item.volts) < TAKES_PART * seen:
            continue
        if item.seconds > SLOW:
            words = (
                f"{item.name} charges through {show(item.ohms, 'ohm', 2)}: time constant "
                f"{show(item.seconds, 's', 2)}, the reading climbs and is right after five of them"
            )
            settle.append({"part": item.name, "seconds": item.seconds, "words": words})
        part = bench.assembly.parts.get(item.name)
        if part is None or abs(item.volts) <= HALF * seen:
            continue
        farads, rated = part.__dict__.get("value", 0.0), part.__dict__.get("volts")
        if farads >= SMALL or (rated and 0.5 * farads * rated**2 >= SPARK):
            charged.append(_caution(bench, part, pair, farads, rated))
    return {"settle": settle, "charged": charged}


def _caution(
    bench: Session, part: Part, pair: tuple[str, str], farads: float, rated: float | None
) -> str:
    much = "an unknown charge, take it as charged"
    if rated:
        much = f"up to {rated:g} V, {show(0.5 * farads * rated**2, 'J', 2)}"
    ends = list(part.terminals().values())
    where = "lies across these points"
    if not set(pair) <= set(ends):
        between = " to ".join(bench.assembly.net_label(n) for n in ends)
        where = f"({between}) is charged from these points through other parts"
    return (
        f"{part.ref} {where} and may still hold {much}: discharge it through a "
        f"resistor and measure below {DISCHARGED:g} V first; a charge also spoils the reading and "
        "can spoil the meter"
    )
