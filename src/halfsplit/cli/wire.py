"""The command for a cable between two connectors, and its printing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.problems import ExitCode, Problem, ProblemsError

if TYPE_CHECKING:
    from halfsplit.boards.before import Judged
    from halfsplit.boards.cable import Finding
    from halfsplit.boards.consoles import ConsoleFile
    from halfsplit.boards.wiring import Plan


def wire(
    file: Path,
    a: str | None = None,
    b: str | None = None,
    *,
    idle: Annotated[
        list[str] | None,
        Parameter(help="idle volts at a pin, 3 kΩ across it: --idle T1.2=-9.1V; repeatable"),
    ] = None,
    cable: Annotated[
        str | None, Parameter(help="judge a cable of the file, as it was found")
    ] = None,
    svg: Annotated[Path | None, Parameter(help="write the drawing of the cable here")] = None,
    sheet: Annotated[Path | None, Parameter(help="write a page to print here (HTML)")] = None,
    json: Json = False,
) -> int:
    """The cable between two connectors: each wire with its reason, and what to measure first.

    With --cable, what is wrong with a cable as it was found. Exit code 1 when the two must not be
    joined so, or an idle voltage is not what it should be.
    """
    from halfsplit.boards.consoles import open_console

    console = open_console(file)
    if cable is not None and idle:
        wrong = "idle volts are held against the plan of two connectors, not against a found cable"
        raise ProblemsError([Problem("", 0, 0, "--idle", wrong, "wire FILE J3 T1 --idle T1.2=-9V")])
    if cable is not None:
        return _judge(console, cable, json)
    from halfsplit.bench.cables import planned
    from halfsplit.boards.drawing import sheet as page
    from halfsplit.boards.drawing import svg as drawing

    made = planned(console, [n for n in (a, b) if n is not None], idle or [])
    found = made.plan
    written = []
    for path, text in ((svg, drawing), (sheet, lambda p: page(p, console.name))):
        if path is not None:
            _write(path, text(found))
            written.append(str(path))
    data = made.as_dict() | {"written": written}
    emit(data, json, lambda: _told(found, made.read, written))
    return ExitCode.PROBLEMS if made.wrong else ExitCode.OK


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except (OSError, ValueError) as error:
        wrong = f"cannot be written: {error}"
        raise ProblemsError([Problem(str(path), 0, 0, "", wrong, "another file name")]) from error


def _judge(console: ConsoleFile, name: str, as_json: bool) -> int:
    from halfsplit.bench.cables import cable_findings

    found = cable_findings(console, name)
    data = {"cable": name, "findings": [f.as_dict() for f in found]}
    emit(data, as_json, lambda: _findings(name, found))
    return ExitCode.PROBLEMS if any(f.harm for f in found) else ExitCode.OK


def _findings(name: str, found: list[Finding]) -> None:
    if not found:
        show.say(f"{name}: nothing wrong with this cable on paper; measure before joining")
    for item in found:
        mark = "[bold red]do not join[/]" if item.harm else "[yellow]wrong[/]"
        show.out.print(f"{mark} {escape(item.words)}")


def _told(plan: Plan, held: Sequence[Judged], written: list[str]) -> None:
    from halfsplit.bench.cables import VERDICTS

    for item in held:
        mark = "" if item.good else "[bold red]do not join yet:[/] "
        show.out.print(mark + escape(item.words))
    if all(item.good for item in held):
        show.out.print(f"[bold]{escape(VERDICTS[plan.verdict])}[/]")
    else:
        show.out.print("[bold]The cable, once that reading is explained:[/]")
    for reason in plan.reasons:
        show.say(f"  {reason}")
    _wires(plan)
    _through(plan)
    _margins(plan)
    _checks(plan)
    for answer, then in plan.if_so.items():
        show.out.print(f"\n[bold]If {escape(answer)}:[/] {escape(VERDICTS[then.verdict])}")
        for reason in then.reasons:
            show.say(f"  {reason}")
        _wires(then)
        _through(then)
        for deeper, last in then.if_so.items():
            show.out.print(f"[bold]and if {escape(deeper)}:[/] {escape(VERDICTS[last.verdict])}")
            _wires(last)
            _through(last)
    for path in written:
        show.say(f"written: {path}")


def _table(*heads: str) -> Table:
    table = Table(title_justify="left")
    for head in heads:
        table.add_column(head)
    return table


def _print(table: Table, rows: list[tuple[Any, ...]]) -> None:
    for row in rows:
        table.add_row(*(escape(str(cell)) for cell in row))
    if rows:
        show.out.print(table)


def _wires(plan: Plan) -> None:
    ties = [(t.pin.label, t.far, t.why) for t in plan.ties]
    wires = [(w.a.label, w.b.label, w.why) for w in plan.wires]
    _print(_table("from", "to", "why"), wires)
    _print(_table("in one plug", "to", "why"), ties)


def _through(plan: Plan) -> None:
    """The way with converters: what they are, every conductor by its place, what feeds them."""
    from halfsplit.boards.drawing import reads
    from halfsplit.boards.drawing_through import lists
    from halfsplit.boards.through import amps
    from halfsplit.quantity.volts import volts

    made = plan.through
    if made is None:
        return
    for words in made.lacking:
        show.say(f"  no converter known here helps: {words}")
    if made.parts:
        show.out.print("[bold]With these between:[/]")
    for name, part in made.parts.items():
        show.say(f"  {name}: {part.says}")
    for reason in made.reasons:
        show.say(f"  {reason}")
    for title, rows in lists(plan, made):
        show.out.print(f"[bold]{escape(title)}[/]")
        _print(_table("from", "to", "why"), list(rows))
    if made.supplies:
        show.out.print("[bold]The converters are fed with[/]")
        fed = [(s.pin.label, volts(s.volts), amps(s)) for s in made.supplies]
        _print(_table("pin", "volts", "current"), fed)
    if made.checks:
        show.out.print("[bold]Converters first alone, then with one machine joined, measure:[/]")
        checks = [(c.at, c.to, reads(c), c.means, c.otherwise) for c in made.checks]
        _print(_table("at", "against", "should read", "is", "otherwise"), checks)


def _margins(plan: Plan) -> None:
    for link in (plan.through or plan).links:
        for m in link.margins:
            show.say(f"  to spare, {m.at}: {m.shown}")


def _checks(plan: Plan) -> None:
    from halfsplit.boards.drawing import reads

    if plan.checks:
        show.out.print("[bold]Before joining, both machines on and the cable off, measure:[/]")
    for words in dict.fromkeys(c.caution for c in plan.checks if c.caution):
        show.out.print(f"[yellow]caution: {escape(words)}[/]")
    rows = [(c.at, c.to, reads(c), c.means, c.otherwise) for c in plan.checks]
    _print(_table("at", "against", "should read", "is", "otherwise"), rows)
