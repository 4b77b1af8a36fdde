"""The command for a meter on the dead machine, and its printing."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter
from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.problems import ExitCode


def ohms(
    file: Path,
    point: str,
    other: str,
    *,
    meter: Annotated[
        str | None, Parameter(help="meter profile, such as auto, ohms-1mA or diode")
    ] = None,
    diode: Annotated[bool, Parameter(negative="", help="diode test, in volts")] = False,
    fault: Annotated[
        list[str] | None, Parameter(help='as if this were wrong, such as "C4 short"; repeatable')
    ] = None,
    load: Annotated[str | None, Parameter(help="load named in the file, or p5=2R,p12=24R")] = None,
    json: Annotated[
        bool, Parameter(name="--json", negative="", help="print JSON instead of text")
    ] = False,
) -> int:
    """What an ohmmeter or diode test shows between two points with everything off.

    Both polarities, which parts are responsible, whether the reading can decide anything, and what
    would decide if it cannot. The first point takes the red lead.
    """
    from halfsplit.bench.dead import find_ohmmeter, ohms_dict
    from halfsplit.cli.common import emit, session

    profile = find_ohmmeter(meter, diode)
    with session(file, "resistances") as bench:
        at = bench.condition_from("off", load)
        data = ohms_dict(bench, point, other, profile, at, fault or [])
        emit(data, json, lambda: _told(data, at.words()))
        solved = all(r["solved"] for r in data["readings"])
        return ExitCode.OK if solved else ExitCode.UNSOLVED


def _told(data: dict[str, Any], words: str) -> None:
    from halfsplit.bench.dead import shown
    from halfsplit.faults.ohmmeter import Ohmmeter

    meter = Ohmmeter.from_dict(data["meter"])
    for line in [*data["before"], *data["charged"]]:
        show.out.print(f"[yellow]caution: {escape(line)}[/]")
    laid = f", with {', '.join(data['faults'])}" if data["faults"] else ""
    title = f"{meter.words}; {words}{laid}"
    table = Table(title=escape(title), title_justify="left")
    for head in ("red lead", "black lead", "shows", "between", "and", "test current"):
        table.add_column(head, justify="left" if "lead" in head else "right")
    healthy = data["healthy"] or []
    rows = [*data["readings"], *healthy]
    for k, r in enumerate(rows):
        mark = " (healthy)" if k >= len(data["readings"]) else ""
        one = r["range"]
        drive = (
            show.amps(one["amps"])
            if one["amps"]
            else f"{one['volts']:g} V behind {shown(one['inside'], meter)}"
        )
        value = shown(r["shows"], meter) if r["solved"] else "not solved"
        low = "" if r["low"] is None else shown(r["low"], meter)
        high = "" if not r["solved"] else shown(r["high"], meter)
        table.add_row(escape(r["red"] + mark), escape(r["black"]), value, low, high, drive)
    show.out.print(table)
    if data["poles"]:
        show.out.print(f"[yellow]{escape(data['poles'])}[/]")
    for item in data["settle"]:
        show.say(f"  {item['words']}")
    if data["unknown"]:
        show.say(f"  {', '.join(data['unknown'])}: an unpowered chip conducts as it likes here")
    _responsible(data, meter)
    show.out.print(f"[bold]{escape(data['verdict'])}[/]")
    for item in data["parts"]:
        _modes(item, meter)
    for item in data["advice"]:
        show.out.print(f"[bold]{escape(item['part'])}: {escape(item['text'])}[/]")
        if item["never"]:
            show.say(f"  not between these two leads even on its own: {', '.join(item['never'])}")
    for rule in data["rules"]:
        show.say(f"  {rule}")


def _responsible(data: dict[str, Any], meter: Any) -> None:
    from halfsplit.bench.dead import shown

    if not data["responsible"]:
        return
    show.say("In this reading, most first:")
    for item in data["responsible"]:
        mark = ", straight across" if item["across"] else ""
        without = shown(item["without"], meter)
        show.say(
            f"  {item['part']} ({item['what']}{mark}): without it {without}, red on {item['red']}"
        )


def _modes(item: dict[str, Any], meter: Any) -> None:
    from halfsplit.bench.dead import shown

    for m in item["modes"]:
        reads = " / ".join(shown(v, meter) for v in m["shows"])
        word = {True: "told", False: "NOT told", None: "no ohmmeter shows it"}[m["told"]]
        show.say(f"  {item['part']} {m['mode']}: {reads} ({word})")
