"""The commands for the serial line: settings, captures, garbage, and the console itself."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter
from rich.markup import escape

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.problems import ExitCode, NotFoundError, Problem, ProblemsError


def line(
    file: Path | None = None,
    *,
    board: Annotated[
        str | None, Parameter(help="board whose line it is, as the file names it")
    ] = None,
    switch: Annotated[
        str | None, Parameter(help='switch as it stands, "1110 1100", closed 1')
    ] = None,
    want: Annotated[str | None, Parameter(help="what it should be, 9600-8N1")] = None,
    against: Annotated[str | None, Parameter(help="the other end's rate and format")] = None,
    capture: Annotated[Path | None, Parameter(help="CSV of a scope or logic analyser")] = None,
    channel: Annotated[int, Parameter(help="column of the capture, 1 is the first after time")] = 1,
    typed: Annotated[str | None, Parameter(help="what was typed, or should have printed")] = None,
    appeared: Annotated[str | None, Parameter(help="what came out; \\x8d for odd bytes")] = None,
    cable: Annotated[str | None, Parameter(help="cable of the file that was in use")] = None,
    json: Json = False,
) -> int:
    """Rate and format: of a switch, of a capture, or what garbage says about them.

    FILE and its switch: what it sets, what to move, the error budget. --capture: rate, polarity,
    format and text of a captured line. --typed and --appeared: causes of garbage, simulated.
    """
    from halfsplit.boards.consoles import open_console

    console = open_console(file) if file is not None else None
    from halfsplit.bench.lines import format_of

    form = format_of(want) if want else None
    if capture is not None:
        return _capture(capture, channel, json)
    if appeared is not None or typed is not None:
        return _garbage(console, board, form, typed, appeared or "", cable, json)
    if console is None:
        wrong = "nothing to work on"
        more = "a console file, or --capture CSV, or --typed and --appeared"
        raise ProblemsError([Problem("", 0, 0, "line", wrong, more)])
    return _settings(console, board, switch, form, against, json)


def _settings(
    console: Any, board: str | None, switch: str | None, want: Any, against: str | None, json: bool
) -> int:
    from halfsplit.bench.lines import settings_dict

    data = settings_dict(console, board, switch, want, against)
    return emit(data, json, lambda: _told_settings(data))


def _told_settings(data: dict[str, Any]) -> None:
    name = f"{data['board']} {data['switch']}".strip()
    if data["found"]:
        f = data["found"]
        show.say(
            f"{name} stands at {f['positions']}: {f['nominal']:g} Bd "
            f"{f['text'].partition(' ')[2]}, truly {f['rate']:.2f} Bd ({f['error'] * 100:+.2f} %), "
            f"{f['per_second']:.4g} characters a second"
        )
    if data.get("wanted"):
        w = data["wanted"]
        show.say(f"wanted {w['text']}: {w['positions']} (1 closed, 0 open, x either)")
    for words in data["move"]:
        show.out.print(f"  [yellow]move {escape(words)}[/]")
    for words in data["apart"]:
        show.out.print(f"  [yellow]{escape(words)}[/]")
    for way, b in data.get("budget", {}).items():
        show.say(
            f"  {way}: rates differ {b['error'] * 100:+.2f} %, {b['allowed'] * 100:.2f} % may be, "
            f"{b['spare'] * 100:.2f} % to spare (half-bit rule: {b['half_bit_rule'] * 100:.1f} %)"
        )


def _capture(path: Path, channel: int, json: bool) -> int:
    from halfsplit.bench.lines import capture_dict

    data = capture_dict(path, channel)
    if not data["solved"]:
        emit(data, json, lambda: show.say(data["why"]))
        return ExitCode.UNSOLVED
    return emit(data, json, lambda: _told_capture(data))


def _told_capture(data: dict[str, Any]) -> None:
    from halfsplit.boards.garbage import printable

    form = data["format"]["text"]
    show.out.print(
        f"[bold]{data['nominal']:g} Bd {escape(form)}, idle {data['mark']}[/] "
        f"({show.percent(data['share'])})"
    )
    show.say(
        f"  measured {data['rate']:.2f} Bd ({data['error'] * 100:+.2f} %), levels "
        f"{data['low']:.3g} and {data['high']:.3g}, "
        f"edges off by {data['jitter'] * 100:.1f} % of a bit"
    )
    if not data["stop_seen"]:
        show.say("  stop bits are not told: no two characters came without a pause")
    wrong = f"{data['framing_errors']} framing, {data['parity_errors']} parity errors"
    show.say(f"  {data['frames']} characters, {wrong}")
    if data["cut"]:
        show.say("  one more was cut off by the end of the capture and is left out")
    for rival in data["others"]:
        if rival["share"] > 0.01:
            show.say(f"  or {rival['format']} ({show.percent(rival['share'])})")
    show.say("  " + printable(data["text"].encode("latin-1")))


def _garbage(
    console: Any, board: str | None, form: Any, typed: str | None, appeared: str,
    cable: str | None, json: bool,
) -> int:  # fmt: skip
    from halfsplit.bench.lines import garbage_dict

    data = garbage_dict(console, typed, appeared, board=board, form=form, cable=cable)
    return emit(data, json, lambda: _told_garbage(data))


def _told_garbage(data: dict[str, Any]) -> None:
    from halfsplit.boards.garbage import printable

    for words in data["cable"]:
        show.out.print(f"[yellow]the cable: {escape(words)}[/]")
    for k, c in enumerate(data["causes"][:4], 1):
        if k > 1 and c["share"] < 0.005:
            break
        show.out.print(f"[bold]{k}. {escape(c['what'])}[/]  {show.percent(c['share'])}")
        for other in c["same"][:3]:
            show.say(f"     or {other['what']}: shows the same")
        if c["meant"]:
            show.say(f"     would mean: {printable(c['meant'].encode('latin-1', 'replace'))}")
        else:
            show.say(f"     would show: {c['would_show']}")
        if c["look"]:
            show.say(f"     {c['look']}.")


def console(
    file: Path,
    *,
    port: Annotated[str | None, Parameter(help="serial port, such as /dev/ttyUSB0 or COM3")] = None,
    line: Annotated[str, Parameter(help="rate and format")] = "9600-8N1",
    eol: Annotated[str, Parameter(help="what Enter sends: cr, lf, crlf or none")] = "cr",
    quiet_lines: Annotated[
        bool, Parameter(name="--no-ready", negative="", help="leave DTR and RTS off")
    ] = False,
    flow: Annotated[
        str, Parameter(help="none; xon: its XOFF holds what you type; rts: wait for its CTS")
    ] = "none",
    seconds: Annotated[float | None, Parameter(help="stop after this long")] = None,
    paste: Annotated[
        str | None,
        Parameter(help="a log from elsewhere: a file, or - to type it", allow_leading_hyphen=True),
    ] = None,
    before: Annotated[int | None, Parameter(help="the page before this entry")] = None,
    lamps: Annotated[str | None, Parameter(help="explain lamps: 0100, or leds=0100")] = None,
    json: Json = False,
) -> int:
    """The machine's console: talk to it by --port, --paste what it printed, or read the log back.

    Everything that comes is kept as it came, with its time, in the journal. Lines the file knows
    are explained. Nothing is sent but the lines you type; :break sends a break, :send \\x03 bytes.
    """
    from halfsplit.boards.consoles import open_console

    found = open_console(file)
    if lamps is not None:
        return _lamps(found, lamps, json)
    if port is not None:
        from halfsplit.bench.lines import format_of
        from halfsplit.cli.talking import talk

        return talk(found, file, port, format_of(line), eol, not quiet_lines, seconds, json, flow)
    from halfsplit.bench.console import open_journal, page
    from halfsplit.bench.console import paste as keep

    if paste is not None:
        text = _pasted(paste)
        with open_journal(file) as journal:
            said = keep(found, journal, text, {"from": paste})
        data: Any = {"characters": len(text), "lines": [s.as_dict() for s in said]}
        return emit(data, json, lambda: _told_lines(data["lines"], only=True, kept=len(text)))
    if before is not None and before < 1:
        wrong = f"{before} is no entry: they count from 1"
        raise ProblemsError([Problem("", 0, 0, "--before", wrong, "--before 7, or leave it out")])
    with open_journal(file) as journal:
        data = page(found, journal, before)
    return emit(data, json, lambda: _told_page(data, file))


def _pasted(where: str) -> str:
    try:
        raw = sys.stdin.buffer.read() if where == "-" else Path(where).read_bytes()
    except FileNotFoundError:
        raise NotFoundError(f"{where}: there is no such file") from None
    except (OSError, ValueError) as error:
        wrong = f"the log cannot be read: {error}"
        raise ProblemsError([Problem(where, 0, 0, "", wrong)]) from error
    return raw.decode("latin-1")  # one character a byte, so that every byte is kept as it was


def _lamps(found: Any, text: str, json: bool) -> int:
    from halfsplit.bench.console import lamps_dict

    meant = lamps_dict(found, text)
    data = {"lamps": meant}
    lines = [f"{m['name']} ({m['order']}): {m['means']}" for m in meant]
    return emit(data, json, lambda: show.say("\n".join(lines)))


# What stands before a line of the log that did not come from the machine.
_MARKS = {"out": "sent> ", "unsent": "NOT sent> ", "break": "sent> "}


def _told_lines(lines: list[dict[str, Any]], *, only: bool = False, kept: int = 0) -> None:
    from halfsplit.boards.garbage import printable

    known = [row for row in lines if row["means"] or not only]
    for row in known[-60:]:
        mark = _MARKS.get(row.get("way", "in"), "")
        show.say(mark + printable(row["text"].encode("latin-1", "replace")))
        for m in row["means"]:
            show.out.print(f"  [cyan]{escape(m['name'])}: {escape(m['text'])}[/]")
    if only:
        show.say(f"{kept} characters kept, {len(lines)} lines, {len(known)} of them known")


def _told_page(data: dict[str, Any], file: Path) -> None:
    if not data["lines"]:
        show.say("the console log is empty: --port to talk to the machine, --paste for a log")
    _told_lines(data["lines"])
    if data["earlier"]:
        show.say(f"earlier: console {file.name} --before {data['earlier']}")
