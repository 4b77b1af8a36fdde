"""Where what an answer names is on the pictures of a machine, in words, for whoever has no page.

Nothing is added where nothing was pinned; of a file of pins with problems the rest is used.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from halfsplit.assembly.model import Assembly
from halfsplit.bench.pins import Spot, where_check, where_parts
from halfsplit.bench.pins_file import Pins, load_pins, pins_path

SAYS = {"red": "red on", "black": "black on", "look": "look at"}


def point_out(assembly: Assembly, checks: Iterable[dict[str, Any]]) -> None:
    """Give each check of :func:`halfsplit.bench.report.next_dict` its `pins`: the best place of
    each probe, with `words`."""
    pins = _pins(assembly)
    if pins is None:
        return
    for check in checks:
        spots = where_check(assembly, pins, check["net"], check["black"], check["quantity"])
        firsts = {s.probe: s for s in reversed(spots)}
        check["pins"] = [_told(pins, firsts[p]) for p in SAYS if p in firsts]


def point_at(assembly: Assembly, groups: Iterable[dict[str, Any]]) -> list[list[str]]:
    """Give each group of suspects the `pins` of its first one's parts; their words, a list each."""
    pins = _pins(assembly)
    said = []
    for group in groups:
        found = [] if pins is None else where_parts(pins, group["suspects"][0]["parts"])
        if pins is not None:
            group["pins"] = [_told(pins, spot) for spot in found]
        said.append([p["words"] for p in group.get("pins", ())])
    return said


def _pins(assembly: Assembly) -> Pins | None:
    if not pins_path(assembly.file).exists():
        return None
    pins, _ = load_pins(assembly)
    return pins if pins.pins else None


def _told(pins: Pins, spot: Spot) -> dict[str, Any]:
    kept = pins.pictures.get(spot.picture)
    title = kept.title if kept is not None and kept.title else spot.picture
    words = (
        f"{SAYS[spot.probe]} {spot.label}: on “{title}”, {100 * spot.x:.0f} % from the left and "
        f"{100 * spot.y:.0f} % from the top"
    )
    return spot.as_dict() | {"words": words}
