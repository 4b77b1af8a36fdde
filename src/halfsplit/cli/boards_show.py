"""Printing of boards, settings and memory causes."""

from __future__ import annotations

from typing import Any

from rich.markup import escape
from rich.table import Table

from halfsplit.cli import show
from halfsplit.quantity import show as value


def _range(found: dict[str, Any] | None, unit: Any) -> str:
    if found is None:
        return ""
    low, high = found["low"], found["high"]
    if high is None:
        return f"≥ {value(low, unit)}"
    return value(low, unit) if low == high else f"{value(low, unit)} … {value(high, unit)}"


def _caution(text: str) -> None:
    show.out.print(f"[yellow]caution: {escape(text)}[/]")


def order(data: dict[str, Any], *, short: bool) -> None:
    """Boards in order with their limits, then whose turn it is; only that when `short`."""
    if "undone" in data:
        show.say(f"entry {data['undone']} undone")
    judged(data["read"])
    for words in data["skipped"]:
        _caution(f"gone on unproved: {words}")
    _caution(data["caution"])
    if short:
        for board in data["boards"]:
            if board["board"] == data["next"]:
                _locks(board)
        return _turn(data)
    for number, board in enumerate(data["boards"], 1):
        mark = "  (in)" if board["in"] else ""
        slot = f", slot {board['slot']}" if board["slot"] else ""
        show.out.print(
            f"[bold]{number}. {escape(board['board'])}[/]{mark} "
            f"{escape(board['name'])}{escape(slot)}"
        )
        show.say(f"   {board['why']}")
        _rails(board)
        _locks(board)
    totals = []
    for rail, t in data["totals"].items():
        rated = f" of {value(t['rated'], 'A')}" if t["rated"] else ""
        totals.append(f"{rail} {value(t['amps'], 'A')}{rated}")
    show.say(f"all in and at work: {', '.join(totals)}")
    _turn(data)


def _locks(board: dict[str, Any]) -> None:
    """Rails that stay off after a board is in, and until when."""
    for lock in board["interlocks"]:
        limits = _range(lock["volts"], "V")
        show.out.print(
            f"   [bold]{escape(lock['rail'])} stays off until {escape(lock['needs'])} "
            f"reads {limits}[/]: {escape(lock['why'])}"
        )


def judged(read: list[dict[str, Any]]) -> None:
    """What each reading just stored says."""
    for body in read:
        style = "" if body["go"] else "bold red"
        words = f"{body['board']} {body['rail']}: {body['says']}"
        show.out.print(f"[{style}]{escape(words)}[/]" if style else escape(words))


def resumed(data: dict[str, Any]) -> None:
    """Where the work on a rack stopped."""
    _caution(data["caution"])
    show.say(f"{data['machine']}: boards in: {', '.join(data['fitted']) or 'none'}")
    show.say(f"rails noted as applied: {', '.join(data['rails_on']) or 'none'}")
    _turn(data)
    for m in data["move"]:
        show.out.print(f"[bold]move {escape(m['words'])}[/]")
    for odd in data["at_odds"]:
        show.out.print(f"[yellow]{escape(odd['kind'])}: {escape(odd['words'])}[/]")
    if data["look"]:
        show.say(f"straps not recorded yet: {len(data['look'])}; `settings` lists them")
    if data["last_print"]:
        last = data["last_print"]
        show.say(f"last memory print (#{last['entry']}, {last['at']}), {last['board']}:")
        if last["causes"]:
            _caution(last["caution"])
        _causes(last["causes"])
        if not last["causes"]:
            show.say("   nothing failed in it")


def _turn(data: dict[str, Any]) -> None:
    """What stands against going on, and whose turn it is."""
    for words in data["stop"]:
        show.out.print(f"[bold red]{escape(words)}[/]")
    for rail, why in data["locked"].items():
        show.out.print(f"[bold]{escape(rail)} may not be applied yet[/]: {escape('; '.join(why))}")
    for body in data["overridden"]:
        what = body.get("board") or body.get("rail")
        show.say(f"gone on unproved earlier: {what}, because {body['anyway']}")
    for words in data["off"]:
        show.out.print(f"[bold]next: {escape(words)}[/]")
    if data["next"] is None:
        if not data["off"]:
            show.out.print("[bold]all boards are in[/]")
        return
    show.out.print(f"[bold]next: {escape(data['next'])}[/]")
    for words in data["owed"]:
        show.say(f"   first: {words}")


def _rails(board: dict[str, Any]) -> None:
    table = Table()
    for head in ("rail", "dead ohms", "adds", "stop outside", "total after", "at the slot", "read"):
        table.add_column(head, justify="left" if head in ("rail", "read") else "right")
    for r in board["rails"]:
        read = ", ".join(_read(u, x) for u, x in r["read"].items())
        if r["made_here"]:
            table.add_row(escape(r["rail"]), "", "made here", "", "", _range(r["volts"], "V"), read)
            continue
        after = value(r["after"], "A") + (" OVER RATING" if r["over_rated"] else "")
        table.add_row(
            escape(r["rail"]),
            _range(r["dead_ohms"], "ohm"),
            _range(r["adds"], "A"),
            _range(r["stop"], "A"),
            after,
            _range(r["volts"], "V"),
            read,
        )
    show.out.print(table)


def _read(unit: Any, seen: dict[str, Any]) -> str:
    text = "open" if seen["value"] == "open" else value(float(seen["value"]), unit)
    return text if seen["go"] else f"{text} STOP"


def settings(data: dict[str, Any]) -> None:
    """Table and picture of every board, then what to move and what disagrees."""
    for board in data["boards"]:
        table = Table(title=f"{board['board']}", title_justify="left")
        for head in ("setting", "means", "now", "wanted", "straps"):
            table.add_column(head)
        for s in board["settings"]:
            straps = ", ".join(_strap(p) for p in s["positions"])
            now = s["now"] if s["now"] is not None else "not known"
            now += "" if s["recorded"] or s["now"] is None else " (rest as delivered)"
            style = "bold" if s["changed"] and s["now"] is not None else ""
            table.add_row(
                *(escape(str(c)) for c in (s["setting"], s["means"], now, s["wanted"], straps)),
                style=style,
            )
        show.out.print(table)
        for line in board["picture"]:
            show.say(f"  {line}")
    for odd in data["at_odds"]:
        show.out.print(f"[yellow]{escape(odd['kind'])}: {escape(odd['words'])}[/]")
    if data["move"]:
        _caution(data["caution"])
    for m in data["move"]:
        show.out.print(f"[bold]move {escape(m['words'])}[/]")
    if data["look"]:
        show.say(f"not recorded yet, look and enter with --found: {', '.join(data['look'])}")
    for odd in data["left"]:
        show.out.print(f"[bold red]still at odds: {escape(odd['words'])}[/]")
    for other in data["others"]:
        show.say(f"would agree as well, changing: {', '.join(other)}")
    if not (data["move"] or data["look"] or data["left"]):
        show.say("every strap is as wanted, and the boards agree")
    for path in data.get("drawings", ()):
        show.say(f"drawn: {path}")


def _strap(p: dict[str, Any]) -> str:
    text = f"{p['strap']} {p['to']}"
    if p["now"] is not None and p["now"] != p["to"]:
        text += f" (now {p['now']})"
    if p["found"] is not None and p["found"] != p["now"]:
        text += f" (found {p['found']})"
    return text


def code(data: dict[str, Any]) -> None:
    """What a message means and which straps can be behind it."""
    show.out.print(f"[bold]{escape(data['means'])}[/]")
    for words in data["order"]:
        show.say(words)
    for number, b in enumerate(data["settings"], 1):
        straps = "; ".join(b["straps"]) or "as recorded"
        show.out.print(
            f"{number}. [bold]{escape(b['setting'])}[/] ({escape(b['means'])}): {escape(straps)}"
        )
        show.say(f"   {b['why']}")
    for name in data["look"]:
        show.say(f"look at {name}")


def memory(data: dict[str, Any]) -> None:
    """Ranked causes with positions, and what to do next."""
    for words in data["codes"]:
        show.say(f"{words['printed']}: {words['means']}")
        if words["straps"]:
            show.out.print(
                "[bold]Straps before chips, they cost nothing:[/] "
                f'settings RACK --code "{escape(words["printed"])}"'
            )
    tests = [
        f"{t['kind']} {'passed' if not t['failures'] else str(t['failures']) + ' failing'}"
        for t in data["tests"]
    ]
    show.say(f"{data['board']}: {', '.join(tests) or 'no test in this print'}")
    for words in data["unread"]:
        _caution(f"left out, {words}")
    for f in data["first"]:
        bits = ", ".join(f["bits"])
        show.say(f"  {f['address']}: differs by {f['difference']} ({bits}), bank {f['bank']}")
    for words in data["advice"]:
        show.out.print(f"[bold]{escape(words)}[/]")
    if data["clear"]:
        where = " at an address of this board" if data["outside"] else " in this print"
        show.say(f"nothing failed{where}")
    if data["causes"]:  # before the first chip that may have to move
        _caution(data["caution"])
    _causes(data["causes"])
    if data["second"]:
        show.say("of the failures the first cause does not explain:")
        _causes(data["second"])
    if data["march"]:
        m = data["march"]
        show.say(f"test to run: {m['name']}, {m['length']} accesses a word: {m['text']}")
    if data["outside"]:
        show.say(f"outside this board, left out: {', '.join(data['outside'])}")
    if data["unused"]:
        count = len(data["unused"])
        lines = "1 line" if count == 1 else f"{count} lines" if count < 20 else "20 lines or more"
        show.say(f"{lines} not understood, such as: {data['unused'][0]}")
        if not data["tests"] and not data["codes"]:
            show.say("write a message of the table of codes, or address, written, read: 5A3C 20 0")


def _causes(causes: list[dict[str, Any]]) -> None:
    for number, c in enumerate(causes, 1):
        share = "> 99 %" if c["share"] > 0.99 else f"{c['share']:.0%}".replace("%", " %")
        of = f", explains {c['explains']} of {c['of']}" if c["of"] else ""
        show.out.print(f"{number}. [bold]{escape(c['name'])}[/]  {share}{of}")
        show.say(f"   where: {', '.join(c['where']) or 'not on this board'}")
        show.say(f"   why: {c['why']}")
        if number == 1:
            show.say(f"   make sure: {c['confirm']}")


def march(data: dict[str, Any]) -> None:
    """March tests and what each finds of all single faults on four cells."""
    kinds = list(data["tests"][0]["finds"])
    table = Table(
        title="faults found of all single faults on four cells, in whichever order the "
        "either-way elements run",
        title_justify="left",
    )
    for head in ("test", "a word", *kinds):
        table.add_column(head, justify="left" if head == "test" else "right")
    for t in data["tests"]:
        found = [f"{f['found']}/{f['of']}" for f in t["finds"].values()]
        table.add_row(t["name"], f"{t['length']}N", *found)
    show.out.print(table)
    for t in data["tests"]:
        show.say(f"{t['name']}: {t['text']}")
    from halfsplit.boards.march import MEANS

    for kind, words in MEANS.items():
        show.say(f"{kind}: {words}")
    show.say("^ upward, v downward, * either way; w0 write 0, r1 read and expect 1")
    show.say("None of them waits: a pause test finds cells that do not hold.")
