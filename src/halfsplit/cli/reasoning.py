"""Commands that say what should be read, what is suspect, and what to do next."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter
from cyclopts.validators import Number

from halfsplit.cli import expected, show
from halfsplit.cli.boards import left_off
from halfsplit.cli.common import NONE, Feed, Json, Limiters, Warm, emit, session
from halfsplit.cli.serial import console
from halfsplit.problems import ExitCode


def expect(
    file: Path,
    *names: str,
    load: Annotated[list[str] | None, Parameter(help="load; may be given more than once")] = None,
    feed: Feed = None,
    warm: Warm = None,
    limiters: Limiters = NONE,
    all_loads: Annotated[bool, Parameter(negative="", help="every load of the file")] = False,
    faults: Annotated[Path | None, Parameter(help="fault script laid over the machine")] = None,
    json: Json = False,
) -> int:
    """What nets, rails or points should read if all is well, in the present condition or others.

    Between two nets write p1:p12, the red lead first.
    """
    from halfsplit.assembly.script import load_faults
    from halfsplit.bench.expect import expect as ask

    with session(file) as bench:
        loads: list[str | None] = [*bench.assembly.loads] if all_loads else [*(load or [])]
        between = asdict(limiters)
        conditions = [bench.condition_from(feed, n, warm, **between) for n in loads or [None]]
        laid = load_faults(bench.assembly, faults) if faults else None
        title = f"With {faults}" if faults else "If all is well"
        first = None if json else lambda early: expected.readings(early, title)
        lines = ask(bench, names, conditions, laid, others=json, first=first)
        emit(
            [line.as_dict() for line in lines],
            json,
            lambda: expected.tables(lines, title, lambda c: bench.also_stable([laid or {}], c)[0]),
        )
        unsolved = any(line.status.startswith("not solved") for line in lines)
        return ExitCode.UNSOLVED if unsolved else ExitCode.OK


def suspects(
    file: Path,
    *,
    most: Annotated[int, Parameter(help="groups to list", validator=Number(gte=1))] = 6,
    whole: Annotated[
        bool,
        Parameter(name="--all", negative="", help="also what tells nothing either way, in full"),
    ] = False,
    json: Json = False,
) -> int:
    """Which faults still explain the readings, how likely each is, and why.

    For and against each: readings with what it would make them, verdicts on parts and signs with
    how much likelier they are with it. --json has every one, for every suspect of a group.
    """
    from halfsplit.bench.pointed import point_at
    from halfsplit.bench.report import suspects_dict

    with session(file) as bench:
        groups = bench.suspects(most)
        data = suspects_dict(bench, groups)
        where = point_at(bench.assembly, data["groups"])
        return emit(data, json, lambda: show.suspects(bench, groups, where, whole))


def trail(
    file: Path,
    *,
    last: Annotated[
        int | None, Parameter(help="entries to go back", validator=Number(gte=1))
    ] = None,
    json: Json = False,
) -> int:
    """How suspicion moved, entry by entry: who led, who was dropped, and by which reading."""
    from halfsplit.bench.trail import trail as walk

    with session(file) as bench:
        steps = walk(bench, last)
        return emit([s.as_dict() for s in steps], json, lambda: show.trail(steps))


def next_(file: Path, *, json: Json = False) -> int:
    """The one check to make next, and what each outcome would mean."""
    from halfsplit.bench.pointed import point_out
    from halfsplit.bench.report import next_dict

    with session(file) as bench:
        advice = next_dict(bench)
        point_out(bench.assembly, advice["checks"])
        return emit(advice, json, lambda: show.advice(bench, advice))


def resume(file: Path, *, json: Json = False) -> int:
    """Where you left off: condition, open items, last readings, suspects, next check."""
    from halfsplit.bench.report import resume_dict
    from halfsplit.boards.which import sort_of

    sort = sort_of(file)
    if sort == "boards":
        return left_off(file, json)
    if sort == "console":
        return console(file, json=json)
    with session(file) as bench:
        data = resume_dict(bench)
        return emit(data, json, lambda: show.resumed(bench, data))
