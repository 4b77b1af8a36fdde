"""Commands about energy: what may be powered, what leans on what, what must be proved first."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter
from cyclopts.validators import Number
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import NONE, Feed, Json, Limiters, Load, emit, session

Weight = Annotated[
    float,
    Parameter(help="look at suspects of at least this weight", validator=Number(gte=0, lte=1)),
]


def power(
    file: Path,
    *,
    feed: Feed = None,
    load: Load = None,
    limiters: Limiters = NONE,
    weight: Weight = 0.02,
    json: Json = False,
) -> int:
    """What would be hurt if power went on now: every part against its ratings, and the lightest
    energising that still teaches something."""
    from halfsplit.bench.energy import power_dict

    with session(file) as bench:
        at = bench.condition_from(feed, load, **asdict(limiters))
        data = power_dict(bench, at, weight)
        return emit(data, json, lambda: _power(data, at.words()))


def _power(data: dict[str, Any], words: str) -> None:
    for line in data["cautions"]:
        show.out.print(f"[yellow]caution: {escape(line)}[/]")
    show.say(f"Condition: {words}")
    colour = "bold red" if data["objections"] else "bold"
    show.out.print(f"[{colour}]{escape(data['verdict'])}[/]")
    if data["findings"]:
        table = Table(title="Parts near or over a rating, worst first", title_justify="left")
        for head in ("times", "part", "what", "when"):
            table.add_column(head, justify="right" if head == "times" else "left")
        for f in data["findings"][:20]:
            when = f["under"] if f["weight"] == 1.0 else f"{f['under']} ({100 * f['weight']:.0f} %)"
            table.add_row(f"{f['ratio']:.2f}", f["part"], escape(f["words"]), escape(when))
        show.out.print(table)
    for i in data["inrush"][:6]:
        show.say(f"  {i['words']}")
    for name in data["unsolved"]:
        show.say(f"  not solved, so nothing is claimed: {name}")
    if data["damage"]:
        show.say(
            f"Chance that some part is hurt, over suspects of {100 * data['covered']:.0f} % weight "
            f"together: {100 * data['damage']:.1g} %"
        )
    for k, p in enumerate(data["lightest"]):
        show.say(("Lightest that teaches: " if k == 0 else "  or ") + p["words"])
