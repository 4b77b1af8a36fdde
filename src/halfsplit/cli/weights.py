"""The command that shows and sets how suspect each part is before anything is read."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit, session
from halfsplit.problems import ExitCode, Problem, ProblemsError


def weights(
    file: Path,
    *settings: str,
    pool: Annotated[
        str | None, Parameter(help="merged outcomes to weigh by, or none for as shipped")
    ] = None,
    json: Json = False,
) -> int:
    """How suspect each part is before any reading, and why; C4=30 or tantalum=10 sets a factor.

    The factor says how many times likelier than a new part it is to have failed; it replaces the
    usual one for age and kind, and any pool. What --pool gives is kept in the journal as it is now.
    """
    from halfsplit.bench.pools import drop, take
    from halfsplit.bench.prior_words import prior_rows, shares_dict

    with session(file) as bench:
        for item in settings:
            of, sign, value = item.partition("=")
            try:
                factor = float(value)
            except ValueError:
                sign = ""
            if not sign:
                wrong = Problem("", 0, 0, item, "is no factor", "C4=30, or tantalum=10")
                raise ProblemsError([wrong])
            bench.weigh_part(of, factor)
        if pool == "none":
            drop(bench)
        elif pool is not None:
            take(bench, Path(pool), datetime.now(UTC).year)
        rows, said, laid = prior_rows(bench), bench.pool_said(), bench.field()
        many = bench.how_many_said()
        pooled = [] if laid is None else _pooled(laid.body)
        shares = shares_dict(bench.standard)
    data = {"how_many": shares, "pool": said, "pooled": pooled, "parts": rows}
    return emit(data, json, lambda: _told(rows, said, pooled, many))


def _pooled(body: Any) -> list[dict[str, Any]]:
    """Classes of the pool in use, each with its modes."""
    return [
        {**row, "modes": [] if row["age"] else [*body["modes"].get(row["of"], {}).values()]}
        for _, row in sorted(body["kinds"].items())
    ]


def _told(rows: list[dict[str, Any]], said: str, pooled: list[dict[str, Any]], many: str) -> int:
    table = Table(title="Before any reading", title_justify="left")
    for head in ("part", "kind", "bad or wrong", "because"):
        table.add_column(head, justify="right" if head == "bad or wrong" else "left")
    for row in rows:
        chance = row["odds"] / (1.0 + row["odds"])
        why = "; ".join(row["why"])
        table.add_row(row["part"], row["kind"], show.percent(chance), escape(why))
    show.say(many)
    show.out.print(table)
    if said:
        _pool_told(said, pooled)
    return ExitCode.OK


def _pool_told(said: str, pooled: list[dict[str, Any]]) -> None:
    table = Table(title="Shipped, counted, pooled", title_justify="left")
    heads = ("parts", "age or mode", "shipped", "counted", "pooled", "90 %")
    for head in heads:
        table.add_column(head, justify="left" if head in heads[:2] else "right")
    for row in pooled:
        counted = f"{row['failed']} of {row['exposed']}"
        table.add_row(row["of"], row["age"] or "any age", *_percents(row, "rate", counted))
        for mode in row["modes"]:
            table.add_row("", mode["mode"], *_percents(mode, "share", str(mode["count"])))
    show.out.print(table)
    show.say(f"{said}; --pool none takes it off")


def _percents(row: dict[str, Any], value: str, counted: str) -> tuple[str, str, str, str]:
    whole = [100.0 * row[k] for k in ("shipped", value, "low", "high")]
    told = [f"{v:.3g}" if v >= 0.01 else "0" for v in whole]
    return f"{told[0]} %", counted, f"{told[1]} %", f"{told[2]} to {told[3]} %"
