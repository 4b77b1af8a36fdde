"""Commands about what was bad in machines: counts of one, and counts of many put together."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter
from cyclopts.validators import Number
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.problems import HalfsplitError, Problem, ProblemsError


def outcomes(
    file: Path,
    *bad: str,
    to: Annotated[Path | None, Parameter(help="file to write; without it, only told")] = None,
    finished: Annotated[
        bool, Parameter(negative="", help="the machine works: what was not found bad is good")
    ] = False,
    least: Annotated[
        int, Parameter(help="parts of a kind there must be to be told", validator=Number(gte=1))
    ] = 3,
    json: Json = False,
) -> int:
    """Counts for other benches: how many parts of each kind and age there were, and were bad, how.

    C4=short says how a part was bad that was tested bad or replaced. No name, reference, reading,
    date or word of yours is in the counts. A machine still broken is not told: of its other parts
    nobody knows yet.
    """
    from halfsplit.bench.noting import Noter
    from halfsplit.bench.outcomes import count, export, say_mode, unsaid

    with Noter(file) as bench:
        for text in bad:
            say_mode(bench, text)
        found = count(bench, datetime.now(UTC).year, least)
        data: dict[str, Any] = found.as_dict() | {"written": None, "how_unsaid": [*unsaid(found)]}
        if to is not None:
            if not finished:
                wrong = "counts of a machine that is still broken would make every part of it good"
                instead = "--finished, once it works"
                raise ProblemsError([Problem("", 0, 0, "to", wrong, instead)])
            data["written"] = {"file": str(to), **export(bench, found, to)}
    return emit(data, json, lambda: _counted(data))


def _counted(data: dict[str, Any]) -> None:
    table = Table(title="Counts", title_justify="left")
    for head in ("parts", "age", "there", "bad", "how"):
        table.add_column(head, justify="right" if head in ("there", "bad") else "left")
    for row in data["rows"]:
        how = ", ".join(f"{n} {mode}" for mode, n in row["modes"].items())
        table.add_row(row["of"], row["age"], str(row["exposed"]), str(row["failed"]), how)
    show.out.print(table)
    if data["how_unsaid"]:
        first = data["how_unsaid"][0]
        listed = ", ".join(data["how_unsaid"])
        show.say(f"Nobody said how these were bad: {listed}. Say {first}=open, or as it was.")
    if data["undecided"]:
        show.say(f"Left out, as nobody knows: {', '.join(data['undecided'])}")
    if data["held_back"]:
        listed = ", ".join(f"{r['parts']} {r['of']}" for r in data["held_back"])
        show.say(f"Too few to tell without telling of the machine: {listed} (--least 1 tells them)")
    if data["written"]:
        show.say(
            f"Written: {data['written']['file']}, under {data['written']['id'][:8]}…, at random"
        )
        show.say(
            "Somebody who knows the machine could recognise it by its counts: the more machines"
        )
        show.say("are merged before they are passed on (halfsplit pool), the less so.")
    else:
        show.say("Nothing is written yet: --finished --to FILE.json")


def pool(
    *files: Path,
    to: Annotated[Path | None, Parameter(help="merged file to write")] = None,
    json: Json = False,
) -> int:
    """Files of outcomes put together, each machine once: bad of those there, and the 90 % interval.

    `halfsplit weights FILE --pool MERGED` uses one on a machine.
    """
    from halfsplit.bench.outcomes import put_json
    from halfsplit.bench.pool_file import FORMAT, merged, read_outcomes
    from halfsplit.bench.pools import pool_dict

    if not files:
        raise ProblemsError([Problem("", 0, 0, "", "names no file", "pool a.json b.json")])
    listed, again = merged([(str(f), read_outcomes(f)) for f in files])
    data = pool_dict(listed, again)
    if to is not None:
        if to.exists():
            raise HalfsplitError(f"{to}: already exists; name another, or move it away")
        put_json(to, {"halfsplit_outcomes": FORMAT, "contributions": [c.as_dict() for c in listed]})
    data["written"] = None if to is None else str(to)
    return emit(data, json, lambda: _merged(data))


def _merged(data: dict[str, Any]) -> None:
    heads = (
        "parts",
        "age",
        "weight shipped",
        "there",
        "bad",
        "bad of 100",
        "90 %",
        "weight pooled",
    )
    table = Table(title=f"{data['machines']} machines", title_justify="left")
    for head in heads:
        table.add_column(head, justify="left" if head in ("parts", "age") else "right")
    for row in data["classes"]:
        table.add_row(
            row["of"],
            row["age"] or "any",
            f"{row['shipped_weight']:.3g}",
            str(row["exposed"]),
            str(row["failed"]),
            f"{100 * row['rate']:.2g}",
            f"{100 * row['low']:.2g} to {100 * row['high']:.2g}",
            f"{row['pooled_weight']:.3g}",
        )
    show.out.print(table)
    show.say(f"Weights are failures per million hours with age; {data['said']}.")
    for row in data["classes"]:
        if row["mostly_one_machine"]:
            show.say(f"More than half of the {row['of']} are of one machine.")
    for words in data["again"]:
        show.say(words)
    if data["written"]:
        show.say(f"Written: {data['written']}")
