"""A person at a simulated bench: ask for readings, name the fault, see what the planner thought."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from halfsplit.assembly.condition import Condition, find_part
from halfsplit.bench.drill import taking
from halfsplit.bench.drill_bench import Case, EngineBench
from halfsplit.bench.example import net_example
from halfsplit.bench.session import Session
from halfsplit.cli.drill import said
from halfsplit.diagnosis.next_check import Candidate
from halfsplit.problems import ExitCode, HalfsplitError


def _help(session: Session) -> tuple[str, str]:
    """What can be said, with names of this machine."""
    net, load = net_example(session.assembly), next(iter(session.assembly.loads))
    part = next(h for h in session.standard if h.faults).faults[0]
    return (
        f"read {net} | ripple {net} | load {load} | look {part.part} | suspects | hint | "
        f"answer {part.name} | quit",
        "Points are those of the file; names of rails and test points work too.",
    )


def train(file: Path, case: Case, start: Condition) -> int:
    """Lines from standard input until the answer or the end of it."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / file.name
        shutil.copy(file, copy)
        with Session(copy) as session:
            session.set_condition(start)
            bench = EngineBench(session.machine, case)
            said(f"A {session.assembly.name} stands before you, {start.words()}. What is wrong?")
            for line in _help(session):
                said(f"  {line}")
            return _loop(session, bench, case)


def _loop(session: Session, bench: EngineBench, case: Case) -> int:
    count = 0
    for line in sys.stdin:
        words = line.split()
        if not words:
            continue
        verb, rest = words[0].lower(), " ".join(words[1:])
        if verb == "quit":
            break
        if verb == "answer":
            _answer(session, case, rest, count)
            return ExitCode.OK
        try:
            count += _done(session, bench, verb, rest)
        except HalfsplitError as error:
            said(f"  {error}")
    said(f"It was: {case.name}.")
    return ExitCode.OK


def _done(session: Session, bench: EngineBench, verb: str, rest: str) -> int:
    """Do one thing; returns how many checks that was."""
    if verb in ("read", "ripple"):
        quantity = "volts" if verb == "read" else "ripple"
        asked = Candidate(session.net(rest), quantity, session.condition, 1.0)  # type: ignore[arg-type]
        text = bench.read(asked, session.meter)
        if text is None:
            said("  no steady reading can be had there")
            return 1
        taking(session, asked, text)
        said(f"  {rest}: {text} V")
        return 1
    if verb == "look":
        part = find_part(session.assembly, rest)
        right = bench.looks_right(part.ref)
        session.observe("", part.ref, sign="as-drawn" if right else "not-as-drawn")
        said(f"  {part.ref}: {'as drawn' if right else 'not what the drawing says'}")
        if part.KIND == "fuse" and f"{part.ref} open" in case_names(bench):
            session.observe("", part.ref, sign="blown")
            said("  and it has blown")
        return 1
    if verb == "load":
        session.set_condition(session.condition_from(None, rest))
        said(f"  now {session.condition.words()}")
    elif verb == "suspects":
        for group in session.groups()[:5]:
            names = dict.fromkeys(session.hypotheses[i].name for i in group.members)
            said(f"  {100 * group.weight:3.0f} %  {', '.join(list(names)[:4])}")
    elif verb == "hint":
        best = session.next_checks(1)
        if best:
            where = best[0].candidate
            said(f"  try {where.quantity} at {where.net}, {where.condition.words()}")
    else:
        said(f"  “{verb}” is not understood here; you can say:")
        for line in _help(session):
            said(f"  {line}")
    return 0


def case_names(bench: EngineBench) -> set[str]:
    """Names of the faults of the specimen."""
    return {f.name for f in bench.case.faults}


def _answer(session: Session, case: Case, text: str, count: int) -> None:
    truth = {f.name.lower() for f in case.faults} or {"healthy"}
    given = {part.strip().lower() for part in text.split("+")}
    parts = {f.part.lower() for f in case.faults}
    given_parts = {g.split()[0] for g in given if g.split()}
    if given == truth:
        said(f"Right, in {count} checks: {case.name}.")
    elif given_parts & parts:
        had = sorted(p.upper() for p in given_parts & parts)
        said(f"Partly: {', '.join(had)} is right. It was: {case.name}. You took {count} checks.")
    else:
        said(f"No. It was: {case.name}. You took {count} checks.")
    groups = session.groups()
    if groups:
        lead = session.hypotheses[groups[0].members[0]].name
        said(f"From your readings the planner would have said: {lead} ({groups[0].weight:.0%}).")
