"""Line settings as verbs: what a switch sets, what a capture shows, what garbage says."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from halfsplit.bench.cables import cable_findings
from halfsplit.boards.capture import changes, read_capture
from halfsplit.boards.consoles import ConsoleFile
from halfsplit.boards.estimate import estimate
from halfsplit.boards.framing import Format, FormatError, budget, parse_format
from halfsplit.boards.garbage import rank, unescaped
from halfsplit.boards.line import differences, positions_for, setting
from halfsplit.problems import NotFoundError, Problem, ProblemsError

TOO_FEW = "too few changes of level to tell a rate; capture more characters"


def format_of(text: str) -> Format:
    """Rate and format as typed. Raises ProblemsError."""
    try:
        return parse_format(text)
    except FormatError as error:
        raise ProblemsError([Problem("", 0, 0, "", str(error))]) from error


def settings_dict(
    console: ConsoleFile,
    board: str | None = None,
    switch: str | None = None,
    want: Format | None = None,
    against: str | None = None,
) -> dict[str, Any]:
    """What a board's switch sets, what to move, how far apart the two ends are.

    Raises NotFoundError, ProblemsError.
    """
    name, record = console.line(board)
    data: dict[str, Any] = {"board": name, "switch": record.switch, "found": None, "move": []}
    data["apart"] = []  # what the two ends differ in
    stands = switch or record.found
    now = setting(record, stands) if stands else None
    if now:
        data["found"] = {"positions": stands, **now.as_dict()}
    wanted = want or (parse_format(record.wanted) if record.wanted else None)
    if wanted is None:
        return data
    positions = positions_for(record, wanted)
    data["wanted"] = {"positions": positions, **wanted.as_dict()}
    data["move"] = differences(stands, positions) if stands else []
    at = now if now and not data["move"] else setting(record, positions.replace("x", "0"))
    other = format_of(against) if against else Format(8, rate=at.nominal)
    rate = other.rate or at.nominal
    both = {
        "received": budget(rate, at.form.rate, at.form, record.sampling),
        "sent": budget(at.form.rate, rate, at.form, record.sampling),
    }
    data["budget"] = {k: b.as_dict() for k, b in both.items()}
    if any(b.spare < 0 for b in both.values()):
        data["apart"].append("the rates are too far apart: characters will be read wrong")
    data["other"] = other.as_dict() if against else None
    if against and (other.data, other.parity) != (wanted.data, wanted.parity):
        data["apart"].append(f"the other end is set to {other}, this one to {wanted}")
    return data


def capture_dict(path: Path, channel: int = 1) -> dict[str, Any]:
    """Rate, polarity, format and text of a captured line; ``solved`` says whether it could be told.

    Raises NotFoundError, ProblemsError.
    """
    if channel < 1:
        raise ProblemsError([Problem("", 0, 0, "--channel", "columns count from 1", "1")])
    seen = changes(*read_capture(path, channel))
    found = estimate(seen)
    if found is None:
        return {"solved": False, "why": TOO_FEW}
    data = {"solved": True, **found.as_dict(), "snr": None if seen.noise <= 0 else seen.snr}
    return data | {"low": seen.low, "high": seen.high}


def garbage_dict(
    console: ConsoleFile | None,
    typed: str | None,
    appeared: str,
    *,
    board: str | None = None,
    form: Format | None = None,
    cable: str | None = None,
) -> dict[str, Any]:
    """Causes of garbage, each simulated, likeliest first; a cable of the file weighs its faults.

    `typed`: what was typed or should have printed, None when not known. Raises NotFoundError.
    """
    weigh: dict[str, float] = {}
    known: list[str] = []
    if console is not None:
        if form is None and console.lines:
            _, record = console.line(board)
            form = parse_format(record.wanted) if record.wanted else None
        if cable is not None:
            for item in cable_findings(console, cable):
                known.append(item.words)
                # What the drawing of the cable shows is believed ten to one over what it does not.
                kind = {"inverted": "wrong-side", "no-common": "noise"}.get(item.code, item.code)
                weigh[kind] = 10.0
    elif cable is not None:
        raise NotFoundError(f"cable {cable} is looked up in a console file: name the file too")
    causes = rank(
        None if typed is None else unescaped(typed), unescaped(appeared), form, weigh=weigh
    )
    return {"cable": known, "causes": [c.as_dict() for c in causes[:8]]}
