"""The bring-up plan in the journal: written before power, ticked by readings, taken up again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from halfsplit.assembly.condition import Condition
from halfsplit.bench.dead import find_ohmmeter, rail_reading
from halfsplit.bench.energy import live_suspects
from halfsplit.bench.gating import gates_of, known, map_of, reasoned
from halfsplit.bench.handed import own, since_handed
from halfsplit.bench.hazards import at_limiters, before_touching, mains_volts
from halfsplit.bench.noting import Noter
from halfsplit.bench.session import Session
from halfsplit.bringup.gates import refusals
from halfsplit.bringup.lightest import proposals
from halfsplit.bringup.plan import plan
from halfsplit.diagnosis.evidence import Evidence
from halfsplit.faults.dead_table import dead_tables
from halfsplit.faults.melting import lasting
from halfsplit.journal import Entry
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

NONE_YET = "no plan is written down yet: halfsplit plan FILE --new"


def written(bench: Noter) -> Entry | None:
    """The plan last written down, None when there is none."""
    return next((e for e in reversed(own(bench.entries)) if e.kind == "plan"), None)


def write(bench: Session) -> Entry:
    """Work the plan out for the machine as it stands and put it in the journal."""
    light = proposals(bench.machine, bench.condition, live_suspects(bench))
    machine, off = bench.machine, replace(bench.condition, feed="off")
    dead = before_touching(machine, off, bench.discharged())
    if mains_volts(machine) is not None:
        dead.insert(0, "the plug out and in sight: a switch is not isolation")
    feed = next((n for n, f in bench.assembly.feeds.items() if f.mains), None)
    live = at_limiters(machine, replace(bench.condition, feed=feed)) if feed else []
    if live:
        live.append("covers on or hands out while it runs; as before the first step to go in again")
    ohms = _ohms(bench, off)
    made = plan(machine, map_of(bench), light, bench.condition, dead, live, ohms)
    body = {"steps": [s.as_dict() for s in made.steps], "unsolved": list(made.unsolved)}
    return bench.note("plan", body)


def _ohms(bench: Session, off: Condition) -> list[str]:
    """What each rail should show to common with the usual meter, in words."""
    meter, found = find_ohmmeter(None, False), []
    pairs = [(r.net, bench.assembly.common) for r in bench.assembly.rails.values()]
    both = [p for pair in pairs for p in (pair, pair[::-1])]
    tables = dead_tables(bench.dead.circuit, both, off, meter, [({}, {})], bench.dead.moves)
    for (label, _), pair in zip(bench.assembly.rails.items(), pairs, strict=True):
        read = [rail_reading(tables[p], p, meter) for p in (pair, pair[::-1])]
        found.append(f"{label}: red lead on it {read[0]}, black lead on it {read[1]}")
    return found


def tick(bench: Session, key: str, note: str, anyway: str | None = None) -> Entry:
    """Store that a step no reading of a feed of the file can tick was done, with what was seen.

    Refused while what the step asks for first is not done; `anyway`, a reason, passes that for
    this one step and is stored. Raises NotFoundError, ProblemsError.
    """
    _step(bench, key)
    if not note.strip():
        wrong = "say what was seen, so that the step can be trusted later"
        raise ProblemsError([Problem("", 0, 0, key, wrong, '--note "18 mA, all in limits"')])
    _pass(bench, key, in_the_way(bench, key), anyway)
    return bench.note("step", {"step": key, "note": note.strip()})


def begin(bench: Session, key: str, anyway: str | None = None) -> Entry:
    """Store that the machine is put into the feed and load a step is read in.

    Refused while a gate stands before power, or what the step asks for first is not done; `anyway`
    as for :func:`tick`. Raises NotFoundError for a step without a feed of the file, ProblemsError.
    """
    step = _step(bench, key)
    if step["condition"] is None:
        raise NotFoundError(f"{key} is read in no feed of the file; it is done, then noted")
    asked = Condition.from_dict(step["condition"])
    shut = [
        f"{why}; lifted by: {g.proof}"
        for g in refusals(gates_of(bench), "power")
        for why in g.refused
    ]
    shut += [why for why in in_the_way(bench, key) if why not in shut]
    if asked.energised():
        _pass(bench, key, shut, anyway)
    now = bench.condition
    after = replace(now, feed=asked.feed, load=asked.load, extra=asked.extra, lamp=asked.lamp)
    return bench.set_condition(after)


def in_the_way(bench: Session, key: str) -> list[str]:
    """What a step asks for first that is not done, each with what lifts it; a step gone wrong."""
    steps = {s["key"]: s for s in plan_dict(bench)["steps"]}
    found = []
    for name in steps[key]["needs"]:
        if name == "gate":
            shut = refusals(gates_of(bench), "boards")
            found += [f"{why}; lifted by: {g.proof}" for g in shut for why in g.refused]
        elif name in steps and steps[name]["state"] != "done":
            found.append(f"“{steps[name]['title']}” comes first and is not done")
    found += [
        f"“{s['title']}” has a reading beyond its limits: find out why first"
        for k, s in steps.items()
        if s["state"] == "stop" and k != key
    ]
    return found


def _step(bench: Noter, key: str) -> dict[str, Any]:
    entry = written(bench)
    if entry is None:
        raise NotFoundError(NONE_YET)
    steps = {s["key"]: s for s in entry.body["steps"]}
    if key not in steps:
        raise NotFoundError(f"there is no step {key} in the plan; there are {', '.join(steps)}")
    return dict(steps[key])


def _pass(bench: Session, key: str, shut: list[str], anyway: str | None) -> None:
    """Raise ProblemsError while something is in the way, or store the reason it was passed for."""
    if not shut:
        return
    if anyway is None:
        raise ProblemsError(
            [Problem("", 0, 0, key, f"not yet: {s}", "that", past="anyway") for s in shut]
        )
    reasoned(anyway, "anyway", '--anyway "bench test, parts at risk are mine"')
    bench.note("override", {"gate": f"plan (step {key})", "why": anyway.strip()})


def plan_dict(bench: Session) -> dict[str, Any]:
    """The plan with each step's state: done, stop (a reading beyond its limits), next, or open."""
    if written(bench) is None:
        raise NotFoundError(NONE_YET)
    shut = {g.name for g in refusals(gates_of(bench), "boards")}
    return _walked(bench, shut, frozenset(known(bench).trips))


def sketch(bench: Noter) -> dict[str, Any] | None:
    """The plan by the journal alone, gates not worked out: nothing they decide counts as done.

    None when no plan is written down.
    """
    return None if written(bench) is None else _walked(bench, None, frozenset())


def _walked(bench: Noter, shut: set[str] | None, trips: frozenset[str]) -> dict[str, Any]:
    entry = written(bench)
    assert entry is not None
    notes = {
        e.body["step"]: e.body["note"]
        for e in bench.entries
        if e.kind == "step" and e.seq > entry.seq
    }
    fuses = shut is not None and "fuses to drawing" not in shut
    steps, reached = [], False
    for raw in entry.body["steps"]:
        step = dict(raw)
        step["read"] = _read(bench, step)
        step["note"] = notes.get(step["key"], "")
        state = _state(step)
        if step["key"] == "fuses" and fuses:
            state = "done"
        rail = step["key"].removeprefix("trip-")
        if shut is not None and step["key"].startswith("trip-") and rail in trips:
            state = "done" if "over-voltage trip" not in shut else "stop"
        if step["key"] == "boards":
            state = "done" if shut is not None and not shut and step["note"] else "open"
        if state == "open" and not reached:
            state, reached = "next", True
        step["state"] = state
        steps.append(step)
    return {
        "entry": entry.seq,
        "at": entry.at.isoformat(),
        "steps": steps,
        "unsolved": list(entry.body["unsolved"]),
    }


def _read(bench: Noter, step: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Latest reading of each point of a step in its condition, with whether it is in limits."""
    if step["condition"] is None:
        return []
    at, since = Condition.from_dict(step["condition"]), since_handed(bench.entries)
    found = []
    for point in step["points"]:
        made = (e for e in reversed(bench.evidence()) if e.number > since)
        item = next((e for e in made if _matches(e, point, at)), None)
        if item is not None:
            good = point["low"] <= item.value <= point["high"]
            found.append(
                {"label": point["label"], "value": item.value, "entry": item.number, "good": good}
            )
    return found


def _matches(item: Evidence, point: Mapping[str, Any], at: Condition) -> bool:
    now = item.condition
    same = (now.feed, now.load, now.extra) == (at.feed, at.load, at.extra)
    lamp = (now.lamp or 0.0) == (at.lamp or 0.0)
    return item.quantity == "volts" and item.pos == point["net"] and not item.neg and same and lamp


def _state(step: Mapping[str, Any]) -> str:
    read = step["read"]
    if any(not r["good"] for r in read):
        return "stop"
    if step["points"] and step["condition"] is not None:
        return "done" if len(read) == len(step["points"]) else "open"
    return "done" if step["note"] else "open"


BOXES = {"done": "[x]", "stop": "[!]", "next": "[ ]", "open": "[ ]"}


def page(data: Mapping[str, Any], name: str, file: str | None = None) -> list[str]:
    """The plan as lines to print and tick with a pencil; with `file`, how to type what came out."""
    lines = [
        f"Bring-up plan: {name}",
        f"written down {data['at'][:16]}, entry #{data['entry']}",
        "[x] done, [ ] open, [!] a reading past its stop: power off. In order, from the top.",
        "",
    ]
    said: list[str] = []  # cautions of the step before, not printed twice running
    for number, s in enumerate(data["steps"], start=1):
        mark = "  <- next" if s["state"] == "next" else ""
        lines.append(f"{BOXES[s['state']]} {number}. {s['title']}  ({s['key']}){mark}")
        if s["before"] and s["before"] == said:
            lines.append("      cautions: as at the step before")
        else:
            lines += [f"      caution: {c}" for c in s["before"]]
        said = s["before"] or said
        first, *rest = s["do"].split("; ")
        lines.append(f"      {first}")
        lines += [f"        {more}" for more in rest]
        if s["needs"]:
            lines.append(f"      only after: {', '.join(s['needs'])}")
        got = {r["label"]: r for r in s["read"]}
        for p in s["points"]:
            r = got.get(p["label"])
            said_ = "________" if r is None else f"{volts(r['value'])} (#{r['entry']})"
            if r is not None and not r["good"]:
                said_ += " STOP"
            lines.append(
                f"      {p['label']}: expect {volts(p['expected'])}, stop outside "
                f"{volts(p['low'])} to {volts(p['high'])}: {said_}"
            )
        stops = []
        if s["amps"] and "stop above" not in s["do"]:
            stops.append(f"above {show(s['amps'], 'A', 2)}")
        if s["celsius"]:
            stops.append(f"at anything hotter than {s['celsius']:g} °C to the hand")
        stay = f"stay {lasting(s['seconds'])}: look, listen, smell" if s["seconds"] else ""
        stop = f"stop {' or '.join(stops)}" if stops else ""
        if stop or stay:
            lines.append(f"      {'; '.join(w for w in (stop, stay) if w)}")
        enter = _enter(s, file) if file else ""
        if enter and s["state"] != "done":
            lines.append(f"      enter: {enter}")
        if s["note"]:
            lines.append(f"      noted: {s['note']}")
        lines.append("")
    lines += [f"not solved, so left out: {u}" for u in data["unsolved"]]
    lines.append("Local wiring rules and licensed-practice limits come first.")
    return [line.replace("FILE", file) for line in lines] if file else lines


def _enter(step: Mapping[str, Any], file: str) -> str:
    """The command that ticks a step; that of the fuses says its own."""
    if step["key"] == "fuses":
        return ""
    if step["key"].startswith("trip-"):
        rail = step["key"].removeprefix("trip-")
        return f"halfsplit protect {file} {rail} --trip … --trip … --trip …"
    if step["condition"] is None or not step["points"]:
        note = "18 mA, all in limits" if step["points"] else "all as it should be"
        return f'halfsplit plan {file} --done {step["key"]} --note "{note}"'
    at = Condition.from_dict(step["condition"])
    read = " ".join(f"{p['net']}=…" for p in step["points"])
    lamp = f" --lamp {at.lamp:g}W" if at.lamp else ""
    return f"halfsplit read {file} {read} --feed {at.feed} --load {at.load}{lamp}"
