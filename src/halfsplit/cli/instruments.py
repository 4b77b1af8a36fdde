"""Meters that can be read by wire: which there are, and one reading taken from one."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Annotated, Any

from cyclopts import Parameter

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.problems import Problem, ProblemsError

From = Annotated[
    str | None,
    Parameter(
        name="--from", help="take it from a meter: TCPIP::10.0.0.7::5025::SOCKET, /dev/ttyUSB0"
    ),
]
Take = Annotated[
    bool, Parameter(negative="", help="with --from: store it without asking, once it stands still")
]
Now = Annotated[
    bool, Parameter(negative="", help="with --from: as it is now, near nought or over range too")
]
Seconds = Annotated[float, Parameter(help="with --from: how long to wait for it to stand still")]


def instruments(
    place: str | None = None,
    *,
    quantity: Annotated[str, Parameter(help="volts, ac, amps, ohms, diode or frequency")] = "volts",
    json: Json = False,
) -> int:
    """List the meters plugged in, or try the one at PLACE: who it is and what it shows now.

    Listing sends nothing to any device, but may ask the local network who is there, for some
    seconds. A LAN meter's socket is never listed: type TCPIP::10.0.0.7::5025::SOCKET. A serial
    meter's line setting follows its name: /dev/ttyUSB0@2400-7N1.
    """
    from halfsplit.instruments import connected, drivers, meter_at

    if place is not None:
        asked = _quantity(quantity)
        with meter_at(place) as meter:
            meter.set_up(asked)
            sample = meter.read()
            data: dict[str, Any] = {
                "place": place,
                "identity": meter.identify(),
                "quantity": asked,
                "reading": sample.as_dict(),
            }
        return emit(data, json, lambda: show.say(f"{data['identity']}: {sample.text}"))
    found = connected()
    data = {
        "connected": [{"place": f.place, "driver": f.driver, "what": f.what} for f in found],
        "drivers": [
            {"name": d.name, "what": d.what, "example": d.example} for d in drivers().values()
        ],
    }
    return emit(data, json, lambda: _listed(data))


def _quantity(name: str) -> Any:
    from halfsplit.instruments import QUANTITIES

    if name not in QUANTITIES:
        wrong = f"there is no quantity {name} a meter could be set to"
        raise ProblemsError([Problem("", 0, 0, "--quantity", wrong, ", ".join(QUANTITIES))])
    return name


def _listed(data: dict[str, Any]) -> None:
    for row in data["connected"]:
        show.say("  ".join(filter(None, (row["place"], row["what"], row["driver"]))))
    if not data["connected"]:
        show.say("no meter is plugged in that the system lists; a LAN meter's address is typed")
    show.say("What can be read:")
    for row in data["drivers"]:
        show.say(f"  {row['name']}: {row['what']}; such as {row['example']}")


def settled(
    source: str, quantity: str, seconds: float, now: bool, name: str
) -> tuple[str, dict[str, Any]]:
    """A reading from the meter at `source`, once it stands still: its text as typed, and what the
    journal keeps of where it came from.

    Raises InstrumentError, ProblemsError or NotFoundError.
    """
    from halfsplit.instruments import meter_at, take_held

    if not 0.0 < seconds <= 3600.0:
        wrong = "a time in seconds up to an hour belongs here"
        raise ProblemsError([Problem("", 0, 0, "--seconds", wrong, "--seconds 60")])
    with show.err.status(f"hold the probes on {name} …") as status:
        held, identity = take_held(
            meter_at(source),
            _quantity(quantity),
            seconds,
            lambda s: status.update(f"hold the probes on {name} …  {s.text}"),
            now,
        )
    kept = {
        "identity": identity,
        "place": source,
        "raw": held.sample.raw,
        "settled": held.settled,
        "low": held.low if not held.sample.over else None,
        "high": held.high if not held.sample.over else None,
    }
    return held.sample.text, kept


def wanted(text: str, kept: dict[str, Any], name: str, take: bool, json: bool) -> bool:
    """Whether the reading is to be stored: by --take, or by a key where somebody sits there."""
    how = "" if kept["settled"] else ", not settled"
    if not json:
        show.say(f"{name}: {text}{how}  ({kept['identity']})")
    if take:
        return True
    if json or not sys.stdin.isatty():
        if not json:
            show.say("not stored: --take stores it")
        return False
    return _key(input)


def _key(ask: Callable[[str], str]) -> bool:
    try:
        answer = ask("Enter or space stores it, anything else drops it: ")
    except EOFError:
        answer = "no"
    if answer.strip():
        show.say("not stored")
    return not answer.strip()
