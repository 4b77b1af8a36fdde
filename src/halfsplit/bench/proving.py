"""Protection tests, reforming, leakage, discharge as verbs: what to expect, and readings stored.

Each takes what was typed as it was typed, so that a page and a command line are refused alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from halfsplit.bench import bringing
from halfsplit.bench.session import Session
from halfsplit.bringup import crowbar, holdup, ladder, overcurrent
from halfsplit.bringup.discharge import verdict as discharged
from halfsplit.bringup.ladder import Ladder
from halfsplit.bringup.reform import leak_verdict
from halfsplit.bringup.rules import END_SOURCE, shelf, worn
from halfsplit.bringup.solving import Bench
from halfsplit.bringup.stock import parse_stock
from halfsplit.problems import NotFoundError, Problem, ProblemsError


def load_ladder(
    session: Session,
    rails: Sequence[str],
    *,
    stock: str,
    feed: str | None = None,
    script: Path | None = None,
    stress: str = "80%",
    pieces: int = 4,
    **limiters: str | None,
) -> Ladder:
    """The load ladder of some rails, or of all rated ones, from resistors at hand.

    Raises ProblemsError for a stock or a share that cannot be used.
    """
    drawer = parse_stock(stock)
    share = bringing.value("stress", stress, "%") or 0.8
    if not 1 <= pieces <= 5 or share > 1:
        wrong = "a load is of 1 to 5 pieces, used at no more than 100 %"
        raise ProblemsError([Problem("", 0, 0, "pieces", wrong, "--pieces 4 --stress 80%")])
    here = bringing.standing(session, feed, script)
    at = session.condition_from(feed, None, None, **limiters)
    here = Bench(here.machine, at, here.faults, session.progress)
    return ladder.plan(here, drawer, rails, ambient=at.ambient, stress=share, most=pieces)


def protect(
    session: Session,
    rails: Sequence[str] = (),
    *,
    feed: str | None = None,
    script: Path | None = None,
    absolute: str | None = None,
    trip: Sequence[str] = (),
    let_go: bool = False,
    knee: str | None = None,
    short: str | None = None,
    hold_up: str | None = None,
) -> dict[str, Any]:
    """Every protection test with its numbers; readings of one rail are judged and stored.

    Raises ProblemsError for readings that cannot be read or that belong to no single rail,
    NotFoundError for a rail or a test there is not; nothing is stored then.
    """
    trips = bringing.readings("trip", trip, "V")
    knee_amps, short_amps = bringing.value("knee", knee, "A"), bringing.value("short", short, "A")
    held = bringing.value("hold-up", hold_up, "s")
    read = bool(trips or knee_amps or short_amps or held)
    if read and len(rails) != 1:
        wrong = "readings belong to one rail"
        raise ProblemsError([Problem("", 0, 0, "rail", wrong, "protect FILE P5 --trip 6.31V")])
    here = bringing.standing(session, feed, script)
    most = bringing.value("absolute", absolute, "V")
    data = bringing.protections(here, rails, most, session.progress)
    verdicts = []
    for test in data["tests"]:
        if "object" not in test:
            continue
        if test["test"] == "crowbar" and trips:
            found = crowbar.verdict(test["object"], trips, not let_go)
        elif test["test"] == "over-current" and (knee or short):
            found = overcurrent.verdict(test["object"], knee_amps, short_amps)
        elif test["test"] == "hold-up" and held:
            found = holdup.verdict(test["object"], rails[0], held)
        else:
            continue
        part = test.get("part") or _senses(session.machine, rails[0])
        found["test"] = test["test"]
        entry = session.note_bringup("protect", part, {"rail": rails[0], **found})
        verdicts.append(found | {"stored": entry.seq})
    if read and not verdicts:
        raise NotFoundError(f"{rails[0]} has no such test that could be solved")
    return data | {"verdicts": verdicts}


def _senses(machine: Any, label: str) -> str:
    """A part on the rail, for the journal: what limits has no name of its own."""
    net = machine.assembly.rails[label].net
    parts = machine.assembly.parts.items()
    return str(next(r for r, p in parts if net in p.terminals().values()))


def _size(name: str, text: str | None, unit: Any) -> float | None:
    found = bringing.readings(name, [text] if text else [], unit)
    return abs(found[0].value) if found else None


def forming(
    session: Session,
    part: str,
    *,
    volts: str | None = None,
    amps: str | None = None,
    drop: str | None = None,
    minutes: float | None = None,
    farads: str | None = None,
    esr: str | None = None,
    **asked: Any,
) -> dict[str, Any]:
    """The reforming plan of a capacitor, its log and what to do now; a reading given is stored.

    `farads`, `esr`: measured afterwards, held against the end of life; not stored. `asked`: as for
    :func:`halfsplit.bench.bringing.forming_plan`. Raises ProblemsError.
    """
    left, series = bringing.value("farads", farads, "F"), bringing.value("esr", esr, "ohm")
    across, current = _size("volts", volts, "V"), _size("amps", amps, "A")
    dropped = _size("drop", drop, "V")
    plan = bringing.forming_plan(session, part, **asked)
    if dropped is not None and current is None:
        current = dropped / plan.ohms
    if (across is None) != (current is None):
        wrong = "a reading is the volts across it and the current into it"
        instead = "--volts 250V --amps 400uA, or --drop 40V across the resistor"
        raise ProblemsError([Problem("", 0, 0, plan.part, wrong, instead)])
    if across is not None:
        body = {"volts": across, "amps": current, "minutes": minutes, "rule": plan.rule}
        session.note_bringup("reform", plan.part, body)
    return {
        **plan.as_dict(),
        "log": bringing.forming_state(session, plan),
        "shelf": shelf(asked["months"] / 12.0) if asked["months"] > 0.0 else "",
        "life": _life(session, plan.part, left, series),
    }


def _life(
    session: Session, ref: str, farads: float | None, esr: float | None
) -> dict[str, Any] | None:
    """A capacitor as measured after reforming against its end of life; None when not measured."""
    if farads is None and esr is None:
        return None
    part = session.machine.fitted(session.assembly.parts[ref], session.condition)
    marked, new = float(part.__dict__["value"]), part.__dict__.get("esr")
    why = worn(marked if farads is None else farads, marked, esr, new)
    said = why or "not at its end of life by these"
    if esr is not None and new is None:
        said += "; its series resistance is not judged: the file gives no `esr` of a new one"
    return {"passed": not why, "words": said, "source": END_SOURCE}


def leakage(
    session: Session,
    part: str,
    *,
    feed: str | None = None,
    ohms: str | None = None,
    target: str | None = None,
    drop: str | None = None,
) -> dict[str, Any]:
    """The leakage test of a capacitor at working volts, and what a reading of it says."""
    dropped = _size("drop", drop, "V")
    test = bringing.leak(session, part, feed, ohms, target)
    said = None if dropped is None else leak_verdict(test, dropped)
    return {**test.as_dict(), "verdict": said}


def discharge(
    session: Session,
    parts: Sequence[str] = (),
    *,
    feed: str | None = None,
    to: str | None = None,
    through: str | None = None,
    measured: str | None = None,
) -> dict[str, Any]:
    """What each capacitor holds and how to let it go; volts measured across one are stored."""
    read = bringing.readings("measured", [measured] if measured else [], "V")
    if read and len(parts) != 1:
        wrong = "volts measured belong to one capacitor"
        raise ProblemsError([Problem("", 0, 0, "measured", wrong, "C1 --measured 0.4V")])
    found = bringing.charges(session, feed, to, through, parts)
    data: dict[str, Any] = {"capacitors": [s.as_dict() for s in found], "verdict": None}
    if read and found:
        data["verdict"] = discharged(found[0], read[0].value)
        body = {"volts": read[0].value, "passed": data["verdict"]["passed"]}
        if session.condition.energised():
            data["verdict"]["reasons"].append(
                f"the journal has it fed by {session.condition.feed}: say that it is off, "
                "`change FILE --feed off`, then measure and enter again; this one ends no hazard"
            )
        data["verdict"]["stored"] = session.note_bringup("discharge", found[0].part, body).seq
    return data
