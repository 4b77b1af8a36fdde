"""Commands about patterns: what there is, what one is made of, and leaving them behind."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.problems import ExitCode, ProblemsError

Beside = Annotated[
    Path | None, Parameter(help="machine's file or folder, for patterns that stand beside it")
]


def patterns(name: str | None = None, *, beside: Beside = None, json: Json = False) -> int:
    """Circuit fragments a file may place with one line; with a NAME its nets, parts and an example.

    Your own stand beside the machine's file as NAME.pattern.yaml, or in a folder `patterns` there.
    """
    from halfsplit.bench.pattern_list import pattern_dict, pattern_rows

    if name is None:
        rows = pattern_rows(beside)
        return emit(rows, json, lambda: _listed(rows))
    data = pattern_dict(name, beside)
    return emit(data, json, lambda: _described(data))


def _listed(rows: list[dict[str, Any]]) -> None:
    table = Table(title="Patterns", title_justify="left")
    for head in ("name", "what it is"):
        table.add_column(head)
    for row in rows:
        own = "" if row["whose"] == "shipped" else f" ({row['whose']})"
        wrong = f"not usable: halfsplit check {row['file']}" if not row["is"] else ""
        table.add_row(row["name"], escape(wrong or row["is"]) + own)
    show.out.print(table)
    show.say("halfsplit patterns NAME says what one is made of, with a line to copy.")


def _described(data: dict[str, Any]) -> None:
    show.say(f"{data['name']} ({data['whose']}): {data['is']}")
    show.say(f"Defaults: {data['why']}")
    if data["polarity"]:
        show.say("With polarity: negative it is the same for a negative supply.")
    for title, rows, columns in (
        ("Nets", data["nets"], ("name", "is", "unless_given")),
        ("Values", data["values"], ("name", "is", "unit", "default")),
        ("Parts", data["parts"], ("role", "is", "as", "if_left_out")),
    ):
        if not rows:
            continue
        table = Table(title=title, title_justify="left")
        for column in columns:
            table.add_column(column.replace("_", " "))
        for row in rows:
            told = row | {"as": _as(row)}
            table.add_row(*(escape(str(told.get(c) or "")) for c in columns))
        show.out.print(table)
    show.say("A line to copy, under `patterns:` of your file:")
    print(f"  {data['example']}")


def _as(row: dict[str, Any]) -> str:
    fields = dict(row.get("fields") or {})
    told = [str(fields.pop("type", fields.pop("kind", "")))]
    fields.pop("kind", None)
    told += [f"{v}" for k, v in fields.items() if k in ("value", "amps", "power", "volts")]
    return " ".join(told)


def plain(
    file: Path,
    *,
    to: Annotated[Path | None, Parameter(help="new file to write it to")] = None,
    json: Json = False,
) -> int:
    """The file as plain parts: each part of a pattern on a line of its own, comments kept."""
    from halfsplit.assembly.plain import plain_text, write_plain
    from halfsplit.boards.which import misplaced

    elsewhere = misplaced(file, "assembly")
    if elsewhere:
        raise ProblemsError(elsewhere)
    if to is None:
        text = plain_text(file)
        return emit({"text": text}, json, lambda: print(text, end=""))
    write_plain(file, to)
    emit({"written": str(to)}, json, lambda: show.say(f"written to {to}; it says the same"))
    return ExitCode.OK
