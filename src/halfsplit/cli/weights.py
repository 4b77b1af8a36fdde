"""The command that shows and sets how suspect each part is before anything is read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit, session
from halfsplit.problems import ExitCode, Problem, ProblemsError


def weights(file: Path, *settings: str, json: Json = False) -> int:
    """How suspect each part is before any reading, and why; C4=30 or tantalum=10 sets a factor.

    The factor says how many times likelier than a new part it is to have failed; it replaces the
    usual one for age and kind.
    """
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
        rows = _rows(bench)
    return emit(rows, json, lambda: _told(rows))


def _rows(bench: Any) -> list[dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for h in bench.standard:
        for fault in h.faults:
            kind = bench.assembly.parts[fault.part].KIND
            row = found.setdefault(
                fault.part, {"part": fault.part, "kind": kind, "odds": 0.0, "why": []}
            )
            row["odds"] += fault.odds
            if fault.why not in row["why"]:
                row["why"].append(fault.why)
    return sorted(found.values(), key=lambda r: -r["odds"])


def _told(rows: list[dict[str, Any]]) -> int:
    table = Table(title="Before any reading", title_justify="left")
    for head in ("part", "kind", "bad or wrong", "because"):
        table.add_column(head, justify="right" if head == "bad or wrong" else "left")
    for row in rows:
        chance = row["odds"] / (1.0 + row["odds"])
        why = "; ".join(row["why"])
        table.add_row(row["part"], row["kind"], show.percent(chance), escape(why))
    show.out.print(table)
    return ExitCode.OK
