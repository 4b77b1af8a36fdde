"""Where a check, a net, a part or a point is on the pictures of a machine."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from halfsplit.assembly.condition import find_part
from halfsplit.assembly.file import near
from halfsplit.assembly.model import Assembly
from halfsplit.bench.pins_file import Pin, Pins
from halfsplit.problems import NotFoundError

MOST = 3  # spots of one probe on one picture: common is everywhere, and one is enough to find it


@dataclass(frozen=True, slots=True)
class Spot:
    """A place to look at or to put a probe.

    Attributes
    ----------
    picture: name in the file of pins.
    x, y: shares of its width and height, from the left and the top.
    label: what is there, in words.
    probe: "red", "black", or "look" for a part.
    exact: whether just this was pinned; else it is a part that has a lead on the net.
    """

    picture: str
    x: float
    y: float
    label: str
    probe: str
    exact: bool

    def as_dict(self) -> dict[str, Any]:
        """For ``--json`` and pages."""
        return {k: getattr(self, k) for k in ("picture", "x", "y", "label", "probe", "exact")}


def where(assembly: Assembly, pins: Pins, name: str, *, probe: str = "red") -> list[Spot]:
    """Where a point, part, rail or net is, best first, at most `MOST` on a picture.

    A net is where it was pinned, else at a point on it, else at a lead on it that was pinned, else
    at a part that has a lead on it. Empty when none of these was pinned.
    Raises NotFoundError for a name the assembly has not.
    """
    if name in assembly.points:
        own = [_spot(p, name, probe) for p in pins.pins if p.point == name]
        found = own or where_net(assembly, pins, assembly.points[name].net, probe=probe)
        return _best(found)
    net = assembly.find_net(name)
    if net is not None:
        return where_net(assembly, pins, net, probe=probe)
    try:
        part = find_part(assembly, name)
    except NotFoundError:
        known = [*assembly.points, *assembly.rails, *assembly.nets(), *assembly.parts]
        close = near(name, known)
        hint = f"; did you mean {close}?" if close else ""
        raise NotFoundError(f"there is no net, part or point {name}{hint}") from None
    return where_parts(pins, [part.ref])


def where_net(assembly: Assembly, pins: Pins, net: str, *, probe: str = "red") -> list[Spot]:
    """Where a net is, as :func:`where` says; on each picture only the best there is."""
    ranked: list[tuple[int, Spot]] = []
    for pin in pins.pins:
        if pin.net is not None and assembly.find_net(pin.net) == net:
            ranked.append((0, _spot(pin, assembly.net_label(net), probe)))
        elif pin.point is not None and assembly.points[pin.point].net == net:
            point = assembly.points[pin.point]
            words = f"{pin.point} ({point.at})" if point.at else pin.point
            ranked.append((1, _spot(pin, words, probe)))
        elif pin.part is not None:
            leads = [t for t, n in assembly.parts[pin.part].terminals().items() if n == net]
            if pin.terminal in leads:
                ranked.append((2, _spot(pin, f"{pin.part} {pin.terminal}", probe)))
            elif leads and pin.terminal is None:
                words = f"{pin.part}, its lead {' or '.join(leads)}"
                ranked.append((3, _spot(pin, words, probe, exact=False)))
    best: dict[str, int] = {}
    for rank, spot in ranked:
        best[spot.picture] = min(rank, best.get(spot.picture, rank))
    ranked.sort(key=lambda pair: pair[0])  # stable: file order within a rank
    return _best(spot for rank, spot in ranked if rank == best[spot.picture])


def where_parts(pins: Pins, refs: Iterable[str]) -> list[Spot]:
    """Where parts are, such as those of a suspect; a part pinned whole before its leads."""
    found: list[Spot] = []
    for ref in dict.fromkeys(refs):
        own = [p for p in pins.pins if p.part == ref]
        whole = {p.picture for p in own if p.terminal is None}
        for pin in own:
            if pin.terminal is None or pin.picture not in whole:
                words = ref if pin.terminal is None else f"{ref} {pin.terminal}"
                found.append(_spot(pin, words, "look"))
    return found


def where_check(
    assembly: Assembly, pins: Pins, net: str, black: str = "", quantity: str = "volts"
) -> list[Spot]:
    """Where both probes of a check go, red first; `net` and `black` as a check names them: the
    black one on common when "", and for a look `net` is the part."""
    if quantity == "look":
        return where_parts(pins, [net])
    red = where_net(assembly, pins, net, probe="red")
    return red + where_net(assembly, pins, black or assembly.common, probe="black")


def _spot(pin: Pin, label: str, probe: str, exact: bool = True) -> Spot:
    return Spot(pin.picture, pin.x, pin.y, label, probe, exact)


def _best(spots: Iterable[Spot]) -> list[Spot]:
    kept: list[Spot] = []
    for spot in spots:
        if sum(s.picture == spot.picture for s in kept) < MOST:
            kept.append(spot)
    return kept
