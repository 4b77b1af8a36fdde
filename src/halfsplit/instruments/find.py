"""Which instruments there are: the folders of this package, and what is plugged in."""

from __future__ import annotations

import pkgutil
import warnings
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module

from halfsplit.instruments.place import place
from halfsplit.instruments.port import Driver, Meter
from halfsplit.problems import NotFoundError, Problem, ProblemsError


@dataclass(frozen=True, slots=True)
class Found:
    """Something plugged in.

    Attributes
    ----------
    place: as given to :func:`meter_at`.
    driver: name of the folder's driver that would read it.
    what: what the system knows of it; nothing was sent to find out more.
    """

    place: str
    driver: str
    what: str


@cache
def drivers() -> Mapping[str, Driver]:
    """Every instrument folder's driver, by name."""
    import halfsplit.instruments as package

    found = {}
    for item in pkgutil.iter_modules(package.__path__):
        if item.ispkg:
            driver: Driver = import_module(f"{package.__name__}.{item.name}").DRIVER
            found[driver.name] = driver
    return found


def meter_at(text: str, allowed: Collection[str] | None = None) -> Meter:
    """The meter at a place, not yet opened: ``TCPIP::10.0.0.7::5025::SOCKET``, ``/dev/ttyUSB0``,
    with ``scpi:``, ``plain:``, ``replay:`` or ``simulated:`` before it where that is to be said.

    `allowed` names the drivers that may be used; a page on the network leaves out ``replay``, which
    reads files of this computer. Raises ProblemsError or NotFoundError.
    """
    name, sign, rest = text.strip().partition(":")
    if sign and name in drivers():
        if allowed is not None and name not in allowed:
            wrong = f"{name}: is not to be used from here"
            raise ProblemsError([Problem("", 0, 0, "meter", wrong, " or ".join(allowed))])
        return drivers()[name].make(rest)
    if text.strip() in drivers():
        raise NotFoundError(f"{text} of what? Such as {drivers()[text.strip()].example}")
    return next(d for d in drivers().values() if d.takes(text)).make(text.strip())


def connected() -> list[Found]:
    """What is plugged in: serial devices, and all that VISA lists, sockets included.

    Nothing is sent to any of them. A VISA library may ask the local network who is there, which
    takes some seconds; a meter's raw socket is never listed, so its address is typed.
    """
    from serial.tools.list_ports import comports

    from halfsplit.instruments.visa import manager

    found = [
        Found(p.device, "plain", p.description if p.description != "n/a" else "serial device")
        for p in comports()
    ]
    devices = {f.place for f in found}
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            listed = manager().list_resources("?*")
    except Exception as error:  # no VISA at all, or one that fails: the serial devices stand
        listed, text = (), " ".join(str(error).split())[:120]
        found.append(Found("", "", f"VISA lists nothing: {text}"))
    for name in listed:
        talks = str(name).upper().endswith(("INSTR", "SOCKET", "RAW"))  # not a whole interface
        if talks and place(name).device not in devices:
            found.append(Found(str(name), "scpi", "VISA resource"))
    return found
