"""What happened to one machine, from its journal: as found, what was wrong, what was done."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Change, Condition
from halfsplit.bench.noted import noted_of
from halfsplit.bench.recall import condition_of
from halfsplit.bench.session import Session
from halfsplit.bench.speaks import SPEAK
from halfsplit.bench.too import check_too
from halfsplit.bench.words import entry_words
from halfsplit.diagnosis.evidence import Evidence
from halfsplit.faults.dictionary import predict
from halfsplit.faults.predictions import UNCLAIMED
from halfsplit.journal import Entry
from halfsplit.quantity import Unit, show
from halfsplit.quantity.volts import volts

FOUND_MOST = 40  # first readings listed as found
REASONS = 6  # readings told for one fault
UNITS: dict[str, Unit] = {"frequency": "Hz", "amps": "A", "ohms": "ohm"}


def when(entry: Entry) -> str:
    """Time of an entry as people write it, in UTC."""
    return entry.at.strftime("%Y-%m-%d %H:%M UTC")


def value_words(quantity: str, value: float | None, text: str) -> str:
    """A reading as it is shown; what was typed where it was no number."""
    if value is None:
        return text
    if quantity in UNITS:
        return show(value, UNITS[quantity], 4)
    kind = {"ripple": " peak to peak", "ac": " on the AC range", "diode": " diode test"}
    return volts(value) + kind.get(quantity, "")


def done(bench: Session) -> list[tuple[Entry, Change]]:
    """Every lasting change to a part with the entry that made it, in order; put-backs left out."""
    found: list[tuple[Entry, Change]] = []
    before: tuple[Change, ...] = ()
    for entry in bench.entries:
        if entry.kind != "condition":
            continue
        now = condition_of(bench.assembly, entry).changes
        found += [(entry, c) for c in now if c not in before and not c.temporary]
        before = now
    return found


def as_found(bench: Session) -> dict[str, Any]:
    """What was read, seen and set before anything was replaced or turned."""
    repairs = done(bench)
    until = repairs[0][0].seq if repairs else None
    early = [e for e in bench.entries if until is None or e.seq < until]
    reads = [e for e in early if e.kind == "read"]
    return {
        "until": until,
        "readings": [reading(bench, e) for e in reads[:FOUND_MOST]],
        "more_readings": max(len(reads) - FOUND_MOST, 0),
        "observations": [
            {
                "entry": e.seq,
                "at": when(e),
                "part": e.body["part"],
                "text": e.body["text"],
                "sign": e.body["sign"].replace("-", " "),
            }
            for e in early
            if e.kind == "observe"
        ],
        "touched": sorted(dict.fromkeys(bench.touched)),
        "marked": [
            {
                "part": e.body["part"],
                "drawn": drawn(bench, e.body["part"]),
                "found": ", ".join(f"{k} {v}" for k, v in sorted(e.body["found"].items())),
                "entry": e.seq,
            }
            for e in early
            if e.kind == "observe" and e.body.get("found")
        ],
    }


def reading(bench: Session, entry: Entry) -> dict[str, Any]:
    """One reading with where, what and in which condition."""
    b = entry.body
    label = bench.assembly.net_label(b["net"])
    other = f" to {bench.assembly.net_label(b['against'])}" if b["against"] else ""
    return {
        "entry": entry.seq,
        "at": when(entry),
        "where": label + other,
        "value": value_words(b["quantity"], b["value"], b["text"]),
        "condition": condition_of(bench.assembly, entry).words(),
    }


def drawn(bench: Session, ref: str) -> str:
    """A part as the drawing has it."""
    part = bench.assembly.parts[ref]
    return f"{part.type} ({part.label()})" if part.type else part.label()


def fitted(bench: Session) -> list[dict[str, Any]]:
    """Parts that are not those it came with, each as drawn and as fitted; what is set likewise."""
    last: dict[str, Entry] = {c.part: e for e, c in done(bench)}
    return [
        {
            "part": c.part,
            "original": drawn(bench, c.part),
            "now": ", ".join(f"{k} {v}" for k, v in c.values) or "like for like",
            "what": "turned" if c.what == "set" else "replaced",
            "entry": last[c.part].seq,
            "at": when(last[c.part]),
        }
        for c in bench.condition.changes
        if not c.temporary and c.part in last
    ]


def faults(bench: Session) -> list[dict[str, Any]]:
    """Every part replaced or tested bad, with what spoke against it just before, and what it may
    have taken along."""
    acts = [(e, c.part, str(c)) for e, c in done(bench) if c.what == "fitted"]
    acts += [
        (e, e.body["part"], f"tested bad: {e.body['text']}")
        for e in bench.entries
        if e.kind == "prove" and not e.body["good"]
    ]
    acts.sort(key=lambda act: act[0].seq)
    seen = [e for e in bench.entries if e.kind == "observe" and e.body["part"]]
    found = []
    try:
        for part in dict.fromkeys(p for _, p, _ in acts):
            own = [(e, said) for e, p, said in acts if p == part]
            first = own[0][0]
            looks = [f"#{e.seq} {e.body['text']}" for e in seen if e.body["part"] == part]
            bench.until = first.seq - 1
            found.append(
                {
                    "part": part,
                    "drawn": drawn(bench, part),
                    **_case(bench, part),
                    "seen": looks,
                    "done": [f"#{e.seq} {said}" for e, said in own],
                    "entry": first.seq,
                    "at": when(first),
                }
            )
    finally:
        bench.until = None
    for item in found:
        for taken in item["took_along"]:
            taken["became"] = became(bench, taken["part"])
    return found


def _case(bench: Session, part: str) -> dict[str, Any]:
    """What was believed of a part with the entries in force, and by which readings."""
    empty: dict[str, Any] = {
        "fault": "",
        "weight": 0.0,
        "evidence": [],
        "noted": [],
        "took_along": [],
        "look": "",
    }
    weights = bench.belief.weights()
    blaming = [k for k, h in enumerate(bench.hypotheses) if part in h.parts]
    if not blaming:
        return empty
    best = max(blaming, key=lambda k: float(weights[k]))
    group = next((g for g in bench.groups() if best in g.members), None)
    own = next(f for f in bench.hypotheses[best].faults if f.part == part)
    told = [r for r in bench.reasons(best) if r.verdict != "says nothing"]
    return {
        "fault": own.name,
        "look": own.look,
        "weight": min(float(bench.blamed().get(part, 0.0)), 1.0),
        "evidence": [r.as_dict() for r in told[:REASONS]],
        "noted": [n.as_dict() for n in noted_of(bench, [best])[best] if n.verdict in SPEAK],
        "took_along": [] if group is None else check_too(bench, group),
    }


def became(bench: Session, part: str) -> str:
    """What was done about a part that was worth a look."""
    told = []
    for entry, change in done(bench):
        if change.part == part:
            told.append(f"{change} (#{entry.seq})")
    for e in bench.entries:
        if e.kind == "prove" and e.body["part"] == part:
            told.append(f"tested {'good' if e.body['good'] else 'bad'} (#{e.seq})")
        elif e.kind == "observe" and e.body["part"] == part:
            told.append(f"looked at: {e.body['text']} (#{e.seq})")
    return "; ".join(told) or "not looked at yet"


def expected_of(bench: Session) -> Callable[[Condition, str], float | None]:
    """Healthy volts of a net in a condition; None where not solved or adrift."""

    @lru_cache(maxsize=64)
    def table(condition: Condition) -> Any:
        return predict(bench.machine, condition, [{}], moves=[])

    def expected(condition: Condition, net: str) -> float | None:
        if not condition.energised():
            return None
        solved = table(condition.as_drawn())
        if int(solved.status[0]) in UNCLAIMED:
            return None
        level = float(solved.mean[0, solved.column(net)])
        return level if np.isfinite(level) else None

    return expected


def rails(bench: Session) -> list[dict[str, Any]]:
    """Every rail with its limits and its readings in order, each against limits and expectation."""
    expected = expected_of(bench)
    entries = {e.seq: e for e in bench.entries}
    found = []
    for label, rail in bench.assembly.rails.items():
        read = [e for e in bench.evidence() if e.pos == rail.net and not e.neg]
        read = [e for e in read if e.quantity in ("volts", "ripple")]
        low, high = rail.limits.low, rail.limits.high
        found.append(
            {
                "rail": label,
                "net": rail.net,
                "limits": f"{volts(low)} to {volts(high)}",
                "ripple": show(rail.ripple, "V", 2) if rail.ripple else "",
                "rated": show(rail.rated, "A", 2) if rail.rated else "",
                "readings": [
                    _rail_row(bench, e, entries[e.number], expected, (low, high), rail.ripple)
                    for e in read
                ],
            }
        )
    return found


def _rail_row(
    bench: Session,
    item: Evidence,
    entry: Entry,
    expected: Callable[[Condition, str], float | None],
    limits: tuple[float, float],
    ripple: float | None,
) -> dict[str, Any]:
    high = ripple if item.quantity == "ripple" else limits[1]
    low = 0.0 if item.quantity == "ripple" else limits[0]
    due = expected(item.condition, item.pos) if item.quantity == "volts" else None
    within = None if high is None else bool(low <= item.value <= high)
    return {
        "entry": item.number,
        "at": when(entry),
        "load": item.condition.load
        + "".join(f", {net} {value}" for net, value in item.condition.extra),
        "feed": item.condition.feed,
        "condition": item.condition.words(),
        "value": value_words(item.quantity, item.value, item.text),
        "expected": "" if due is None else volts(due),
        "within": within,
        "verdict": "no limit given" if within is None else "in limits" if within else "OUTSIDE",
    }


def protections(bench: Session) -> list[dict[str, Any]]:
    """Trips and limits that were measured, with their verdicts, in order."""
    found = []
    for e in bench.entries:
        if e.kind == "trip":
            row = {"test": "over-voltage trip", "rail": e.body["rail"]}
            row |= {"read": volts(float(e.body["volts"])), "verdict": "entered as measured"}
        elif e.kind == "protect":
            row = {"test": str(e.body.get("test", "")), "rail": str(e.body["rail"])}
            row["read"] = _protection(e.body)
            passed = "as it should be" if e.body["passed"] else "not proved"
            row["verdict"] = "; ".join([passed, *map(str, e.body.get("reasons", ()))])
        else:
            continue
        limits = bench.assembly.rails.get(row["rail"])
        over = limits.over_voltage if limits is not None else None
        wanted = f"{volts(over.low)} to {volts(over.high)}" if over is not None else ""
        row["wanted"] = wanted if row["test"] in ("crowbar", "over-voltage trip") else ""
        found.append({**row, "entry": e.seq, "at": when(e)})
    return found


def _protection(body: Any) -> str:
    told = [volts(float(v)) for v in body.get("volts") or ()]
    for name in ("knee", "short"):
        if body.get(name) is not None:
            told.append(f"{name} {show(float(body[name]), 'A', 3)}")
    if body.get("seconds") is not None:
        told.append(f"stood {show(float(body['seconds']), 's', 3)}")
    return ", ".join(told)


def capacitors(bench: Session) -> dict[str, list[dict[str, Any]]]:
    """Logs of reforming, part by part, and every discharge measured."""
    formed: dict[str, list[dict[str, Any]]] = {}
    gone = []
    for e in bench.entries:
        if e.kind == "reform":
            row = {"entry": e.seq, "at": when(e), "volts": volts(float(e.body["volts"]))}
            row["amps"] = show(float(e.body["amps"]), "A", 3)
            minutes = e.body.get("minutes")
            row["minutes"] = "" if minutes is None else f"{float(minutes):g}"
            formed.setdefault(e.body["part"], []).append(row | {"rule": str(e.body["rule"])})
        elif e.kind == "discharge":
            words = "discharged" if e.body["passed"] else "not low enough"
            gone.append(
                {
                    "entry": e.seq,
                    "at": when(e),
                    "part": e.body["part"],
                    "volts": volts(float(e.body["volts"])),
                    "verdict": words,
                }
            )
    logs = [{"part": part, "rows": rows} for part, rows in formed.items()]
    return {"reformed": logs, "discharged": gone}


def log(bench: Session, entries: Sequence[Entry]) -> list[dict[str, Any]]:
    """Every entry in one line, those undone marked."""
    return [
        {"entry": e.seq, "at": when(e), "kind": e.kind, "words": said(bench, e), "undone": e.undone}
        for e in entries
    ]


def said(bench: Session, entry: Entry) -> str:
    """One entry of any kind in a few words."""
    b = entry.body
    try:
        if entry.kind == "read":
            row = reading(bench, entry)
            return f"{row['where']} {row['value']}"
        if entry.kind in ("prove", "observe", "condition"):
            sign = f" ({b['sign']})" if b.get("sign") else ""
            return entry_words(bench.assembly, entry) + sign
        if entry.kind == "override":
            return f"passed {b['gate']} all the same: {b['why']}"
        if entry.kind == "step":
            return f"{b['step']}: {b['note']}"
        if entry.kind == "disturbed":
            return f"moved or heated: {', '.join(b['parts'])}"
        if entry.kind == "trip":
            return f"{b['rail']} trips at {volts(float(b['volts']))}"
        if entry.kind == "factor":
            return f"{b['of']} weighed {float(b['factor']):g} times"
        if entry.kind == "meter":
            return str(b["meter"].get("name", "meter"))
        if entry.kind == "plan":
            return f"bring-up plan of {len(b['steps'])} steps"
        if entry.kind in ("protect", "reform", "discharge"):
            told = _protection(b) if entry.kind == "protect" else volts(float(b["volts"]))
            return f"{b.get('rail') or b['part']}: {told}"
    except (KeyError, TypeError, ValueError, AttributeError):
        pass  # an entry of another version: its kind is told, its words are not guessed
    return ""
