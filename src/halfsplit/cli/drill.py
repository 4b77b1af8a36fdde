"""The command that plays the planner, or a person, against simulated machines."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter
from cyclopts.validators import Number
from rich.markup import escape
from rich.table import Table

from halfsplit.bench.tally import chart
from halfsplit.cli import show
from halfsplit.cli.common import Feed, Json, Load, emit, session
from halfsplit.problems import ExitCode, Problem, ProblemsError

if TYPE_CHECKING:
    from halfsplit.bench.drill import Played

KINDS = ("single", "double", "cascade", "healthy")


def drill(
    file: Path,
    *,
    cases: Annotated[int, Parameter(help="machines to play", validator=Number(gte=1))] = 20,
    kinds: Annotated[str, Parameter(help="which, in turn: " + ", ".join(KINDS))] = "single,healthy",
    feed: Feed = None,
    load: Load = None,
    seed: Annotated[int, Parameter(help="same number, same machines")] = 1,
    slips: Annotated[
        int,
        Parameter(
            help="percent of machines where one reading is mistyped",
            validator=Number(gte=0, lte=100),
        ),
    ] = 0,
    train: Annotated[
        bool, Parameter(negative="", help="you are the one at the bench, not the planner")
    ] = False,
    json: Json = False,
) -> int:
    """Practice and proof: simulated machines with random faults, solved by this program's engine.

    The planner follows its own advice to the end; the table says how often it was right, how many
    checks it took, and whether it claimed what it could hold. With --train you ask for the readings
    yourself. Nothing is written to the journal of FILE.
    """
    from halfsplit.bench.drill import run, score
    from halfsplit.bench.drill_bench import EngineBench
    from halfsplit.bench.drill_cases import prepared

    chosen = [k.strip() for k in kinds.split(",") if k.strip()]
    unknown = [k for k in chosen if k not in KINDS]
    if unknown or not chosen:
        wrong = f"there are no {', '.join(unknown) or 'kinds'} cases"
        raise ProblemsError([Problem("", 0, 0, "--kinds", wrong, ",".join(KINDS))])
    with session(file) as bench:
        start = bench.condition_from(feed, load)
        listed = prepared(bench, start, chosen, cases, seed)
        machine = bench.machine
    if train:
        from halfsplit.cli.train import train as practise

        return practise(file, listed[0], start)
    played = run(
        file,
        listed,
        start,
        lambda _, case: EngineBench(machine, case, slips / 100.0),
        feeds=[start.feed],
        each=None if json else _one,
    )
    found = score(played)
    data = {"table": found, "cases": [p.as_dict() for p in played], "seed": seed}
    emit(data, json, lambda: _told(found, seed))
    return ExitCode.OK


def _one(played: Played) -> None:
    """One machine as it is done."""
    mark = "found" if played.top else "among three" if played.third else "missed"
    said(f"  {mark}: {played.case.name}, {played.checks} checks")


ROWS = (
    ("cases", "machines"),
    ("top", "whole truth led at the end"),
    ("top_three", "among the first three"),
    ("first_decision_right", "first part it had taken out was bad"),
    ("called_faulty", "something was called bad"),
    ("checks_to_decision", "checks to that"),
    ("checks", "checks in all"),
    ("minutes", "minutes in all"),
    ("sound_parts_tested", "sound parts taken out, each"),
    ("cascade_named", "second part named"),
    ("part_top", "true parts most blamed"),
    ("part_three", "with two more"),
    ("live_checks", "readings above 60 V"),
    ("hazardous_checks", "where a harmless one served"),
    ("unanswered", "readings not to be had"),
)


def _told(found: dict[str, Any], seed: int) -> None:
    kinds = [k for k in found if k != "calibration"]
    table = Table(title=f"Drill, seed {seed}", title_justify="left")
    table.add_column("")
    for kind in kinds:
        table.add_column(kind, justify="right")
    for key, words in ROWS:
        values = [found[k][key] for k in kinds]
        if any(v is not None for v in values):
            table.add_row(words, *(_cell(key, v) for v in values))
    show.out.print(table)
    for line in chart(found):
        show.say(line)


def _cell(key: str, value: Any) -> str:
    if value is None:
        return "-"
    shares = (
        "top",
        "top_three",
        "part_top",
        "part_three",
        "first_decision_right",
        "called_faulty",
        "cascade_named",
    )
    return f"{100 * value:.0f} %" if key in shares else f"{value:g}"


def said(words: str) -> None:
    """One line of a training session."""
    show.out.print(escape(words))
    sys.stdout.flush()
