"""Load ladder, protection tests, reforming, discharge: for the machine as it stands, as data."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Change, find_part, refit
from halfsplit.assembly.script import load_faults
from halfsplit.bench.session import Session
from halfsplit.bringup import crowbar, discharge, forming_log, holdup, ladder, overcurrent, reform
from halfsplit.bringup.rules import RULES
from halfsplit.bringup.solving import Bench, UnsolvedError
from halfsplit.circuit.netlist import Overrides
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import QuantityError, Reading, Unit, parse, parse_reading

STANDS_OUT = "boards out, loads on resistors"


def value(name: str, text: str | None, unit: Unit) -> float | None:
    """A number typed after an option, above nought; None where it was not given.

    Raises ProblemsError.
    """
    if text is None:
        return None
    try:
        found = parse(text, unit)
    except QuantityError as error:
        wrong = f"“{error.text}”: {error.wrong}"
        raise ProblemsError([Problem("", 0, 0, name, wrong, error.instead)]) from error
    if found <= 0:
        raise ProblemsError([Problem("", 0, 0, name, f"“{text}” is not above nought")])
    return found


def readings(name: str, texts: Sequence[str], unit: Unit) -> list[Reading]:
    """Meter readings typed after an option. Raises ProblemsError listing every one unreadable."""
    found, problems = [], []
    for text in texts:
        try:
            read = parse_reading(text, unit)
            if read.state != "number":
                problems.append(Problem("", 0, 0, name, f"“{text}” is no number", "6.31V"))
            found.append(read)
        except QuantityError as error:
            problems.append(
                Problem("", 0, 0, name, f"“{error.text}”: {error.wrong}", error.instead)
            )
    if problems:
        raise ProblemsError(problems)
    return found


def standing(session: Session, feed: str | None, script: Path | None = None) -> Bench:
    """The machine as it stands: condition, markings found, and what a fault script lays over it."""
    condition = session.condition_from(feed, None)
    faults: Overrides = {}
    for ref, values in session.found_values().items():
        if any(c.part == ref and c.what == "fitted" for c in condition.changes):
            continue  # another one was put in since
        fitted = refit(session.assembly.parts[ref], Change(ref, "fitted", "", values))
        faults |= {
            (e.name, name): number
            for e in fitted.elements()
            for name, number in zip(e.PARAMS, e.vector(), strict=True)
        }
    if script is not None:
        faults |= load_faults(session.assembly, script)
    return Bench(session.machine, condition, faults, session.progress)


def planned_feed(session: Session) -> str | None:
    """What to plan with where nobody names a feed: while the machine is off, as it is while one
    plans, the first steady feed of the file that is not held to a current, else the first of any;
    None, so the present one, otherwise."""
    if session.condition.energised():
        return None
    steady = [
        name
        for name, feed in session.assembly.feeds.items()
        if feed.nets and not feed.mains and all(s.limit is None for s in feed.nets.values())
    ]
    return steady[0] if steady else session.assembly.default_feed()


def powered(session: Session, feed: str | None) -> Bench:
    """The machine as it stands, but on: by the feed named, the present one, or the first."""
    bench = standing(session, feed)
    if bench.condition.energised():
        return bench
    return replace(bench, condition=replace(bench.condition, feed=session.assembly.default_feed()))


def protections(
    bench: Bench,
    asked: Sequence[str],
    absolute: float | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, Any]:
    """Every protection test the circuit has, rail by rail, with predictions and procedures.

    `progress` gets tests begun and tests in all, and may raise to stop.
    """
    rails = bench.machine.assembly.rails
    for label in asked:
        if label not in rails:
            raise NotFoundError(f"there is no rail {label}; there are {', '.join(rails)}")
    tests: list[dict[str, Any]] = []
    bars = [b for b in crowbar.find(bench.machine) if not asked or b[1] in asked]
    total = len(bars) + len(rails) + 1

    def begun(number: int) -> None:
        if progress is not None:
            progress(number, total)

    for number, (ref, label) in enumerate(bars):
        begun(number)
        rail = rails[label]
        rail = rail if absolute is None else rail.model_copy(update={"absolute": absolute})
        try:
            bar = crowbar.predict_trip(bench, ref, label, rail)
        except UnsolvedError as error:
            tests.append({"test": "crowbar", "rail": label, "not_solved": str(error)})
            continue
        tests.append({**bar.as_dict(), "steps": crowbar.procedure(bar), "object": bar})
    for number, label in enumerate(rails, len(bars)):
        begun(number)
        full = ladder.full_amps(bench, label)
        if (asked and label not in asked) or full is None:
            continue
        if not bench.condition.energised():
            why = "the machine is off; name what would feed it, as --feed mains"
            tests.append({"test": "over-current", "rail": label, "not_solved": why})
            continue
        try:
            tests += _limiting(bench, label, full)
        except UnsolvedError as error:
            tests.append({"test": "over-current", "rail": label, "not_solved": str(error)})
    begun(total - 1)
    tests += _hold_up(bench)
    return {"condition": bench.bare().words(), "tests": tests, "stands": STANDS_OUT}


def _hold_up(bench: Bench) -> list[dict[str, Any]]:
    """The test of hold-up and power-good, with every rail that has a full current loaded to it."""
    full = {label: ladder.full_amps(bench, label) for label in bench.machine.assembly.rails}
    loads = {label: amps for label, amps in full.items() if amps}
    if not loads or not bench.condition.energised():
        return []
    try:
        found = holdup.hold_up(bench, loads)
    except UnsolvedError as error:
        return [{"test": "hold-up", "rail": ", ".join(loads), "not_solved": str(error)}]
    return [{**found.as_dict(), "steps": holdup.procedure(found), "object": found}]


def _limiting(bench: Bench, label: str, full: float) -> list[dict[str, Any]]:
    rail = bench.machine.assembly.rails[label]
    if bench.machine.self_oscillating:
        found = overcurrent.restart(bench, label, rail, full)
        return [{**r.as_dict(), "steps": overcurrent.restart_steps(r, full)} for r in found]
    bent = overcurrent.curve(bench, label, rail, full)
    return [{**bent.as_dict(), "steps": overcurrent.procedure(bent), "object": bent}]


def plain(data: Any) -> Any:
    """The same for JSON: no objects of ours, no NaN."""
    if isinstance(data, dict):
        return {k: plain(v) for k, v in data.items() if k != "object"}
    if isinstance(data, (list, tuple)):
        return [plain(v) for v in data]
    if isinstance(data, float) and not np.isfinite(data):
        return None
    return data


def forming_plan(
    session: Session,
    ref: str,
    *,
    rule: str | None,
    leakage: str | None,
    feed: str | None,
    ohms: str | None,
    watts: str | None,
    limit: str | None,
    target: str | None,
    at_once: bool,
    months: float,
) -> reform.Plan:
    """The plan of one capacitor; its rule is the one named, else the one of its log."""
    bench = powered(session, feed)
    part = session.machine.fitted(find_part(session.assembly, ref), bench.condition)
    log = session.forming(part.ref)
    named = rule or (str(log[-1].body["rule"]) if log else None)
    rated = float(part.__dict__.get("volts") or 0.0)
    chosen = RULES["four-hours"] if part.KIND not in reform.FORMED else reform.pick_rule(named)
    return reform.plan(
        part,
        chosen,
        reform.pick_leakage(leakage, rated),
        working=reform.working_volts(bench, part),
        ohms=value("ohms", ohms, "ohm"),
        resistor_watts=value("watts", watts, "W"),
        supply_limit=value("limit", limit, "A"),
        target=value("target", target, "V"),
        at_once=at_once,
        months=months,
    )


def forming_state(session: Session, plan: reform.Plan) -> dict[str, Any]:
    """The log of one capacitor, its trend, and what to do now."""
    entries = session.forming(plan.part)
    log = []
    for entry in entries:
        minutes = entry.body.get("minutes")
        since = (entry.at - entries[0].at).total_seconds()
        seconds = since if minutes is None else 60.0 * float(minutes)
        log.append(forming_log.Formed(seconds, entry.body["volts"], entry.body["amps"]))
    state = forming_log.judge(plan, log)
    limit = RULES[plan.rule].drop_limit
    rejected = forming_log.dropped(plan, log, limit) if limit is not None else ""
    if rejected and state["state"] != "stop":
        state |= {"state": "reject", "why": rejected}
    return {
        **state,
        "readings": [{**r.__dict__, "watts": r.watts} for r in log],
        "plot": forming_log.plot(log, plan.leakage_limit),
    }


def leak(
    session: Session, ref: str, feed: str | None, ohms: str | None, target: str | None
) -> reform.LeakTest:
    """The leakage test of one capacitor at its working volts in the present condition, powered."""
    bench = powered(session, feed)
    part = session.machine.fitted(find_part(session.assembly, ref), bench.condition)
    if part.ref not in discharge.capacitors(bench):
        wrong = f"{part.ref} is a {part.KIND}"
        raise ProblemsError([Problem("", 0, 0, part.ref, wrong, "a capacitor")])
    level = value("target", target, "V") or reform.working_volts(bench, part)
    level = level or float(part.__dict__.get("volts") or 0.0)
    if not level:
        wrong = "its working volts were not solved and the file rates it none"
        raise ProblemsError([Problem("", 0, 0, part.ref, wrong, "--target 165V")])
    return reform.leak_test(part, level, value("ohms", ohms, "ohm") or reform.TEST_OHMS)


def charges(
    session: Session, feed: str | None, limit: str | None, through: str | None, asked: Sequence[str]
) -> list[discharge.Stored]:
    """Charges to be removed; of the capacitors `asked`, or all.

    Levels are those with the machine on: by the feed named, the present one, or the first.
    """
    bench = powered(session, feed)
    names = [find_part(session.assembly, ref).ref for ref in asked]
    for name in names:
        if name not in discharge.capacitors(bench):
            wrong = f"{name} is no capacitor that is fitted now"
            raise ProblemsError([Problem("", 0, 0, name, wrong, "a capacitor of the file")])
    to = value("to", limit, "V") or discharge.TOUCH
    found = discharge.stored(bench, to, value("through", through, "ohm"))
    return [s for s in found if not names or s.part in names]
