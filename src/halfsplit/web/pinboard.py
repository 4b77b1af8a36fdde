"""The pictures and pins of a machine as its pages see them, and the route that serves pictures."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import quote
from weakref import WeakKeyDictionary

from fastapi import Response
from fastapi.responses import FileResponse
from nicegui import app

from halfsplit.problems import HalfsplitError, NotFoundError, Problem
from halfsplit.web.house import House, Place

if TYPE_CHECKING:
    from halfsplit.assembly.model import Assembly
    from halfsplit.bench.pins import Spot
    from halfsplit.bench.pins_file import Pins

T = TypeVar("T")
# A picture's name is made of what is in it, so a browser may keep it for good.
KEEP = "private, max-age=31536000, immutable"


class Pinboard:
    """Pictures and pins of one machine, the same for all pages that show it.

    Attributes
    ----------
    pins: as on disk when last looked at; None before that. problems: all that is wrong with the
    file.
    """

    def __init__(self, place: Place) -> None:
        self.place = place
        self.pins: Pins | None = None
        self.problems: list[Problem] = []
        self._assembly: Assembly | None = None
        self._stamp: tuple[int, ...] = ()

    @property
    def pinned(self) -> bool:
        """Whether there is any pin."""
        return self.pins is not None and bool(self.pins.pins)

    async def look(self) -> None:
        """See what is on disk; pages are told when it differs from what was seen last."""
        from halfsplit.bench.pins_file import load_pins, pins_path

        assembly = await self._about()

        def stamp() -> tuple[int, ...]:
            try:
                now = pins_path(assembly.file).stat()
            except OSError:
                return (0,)
            return now.st_mtime_ns, now.st_size, now.st_ino

        seen = await asyncio.to_thread(stamp)
        if assembly is self._assembly and seen == self._stamp:
            return
        self.pins, self.problems = await asyncio.to_thread(load_pins, assembly)
        self._assembly, self._stamp = assembly, seen
        self.place.changed.emit()

    async def do(self, verb: Callable[..., T], *words: Any, **named: Any) -> T:
        """Have one of :mod:`halfsplit.bench.pinning`'s verbs change the file, off the loop."""
        assembly = await self._about()
        try:
            return await asyncio.to_thread(lambda: verb(assembly, *words, **named))
        finally:
            await self.look()

    async def _about(self) -> Assembly:
        """The machine; of a file still being typed, as far as it goes. Raises HalfsplitError where
        nothing of it can be read."""
        try:
            return await self.place.look(lambda noter: noter.assembly)
        except HalfsplitError:
            from halfsplit.assembly.draft import draft

            at = await asyncio.to_thread(draft, self.place.file)
            if at.assembly is None:
                raise
            known = self._assembly
            same = known is not None and known.parts == at.assembly.parts
            return known if known is not None and same else at.assembly

    def of_check(self, asked: dict[str, Any]) -> list[Spot]:
        """Where the probes of a check go, red first; of a look, the part."""
        from halfsplit.bench.pins import where_check

        if self.pins is None or self._assembly is None:
            return []
        net = asked["part"] if asked["quantity"] == "look" else asked["net"]
        return where_check(self._assembly, self.pins, net, asked["black"], asked["quantity"])

    def of_name(self, name: str) -> list[Spot]:
        """Where a net, part or point is; nothing for a name the file has not."""
        from halfsplit.bench.pins import where

        if self.pins is None or self._assembly is None or not name:
            return []
        try:
            return where(self._assembly, self.pins, name)
        except NotFoundError:
            return []

    def of_parts(self, parts: list[str]) -> list[Spot]:
        """Where parts are."""
        from halfsplit.bench.pins import where_parts

        return [] if self.pins is None else where_parts(self.pins, parts)

    def nets(self) -> list[str]:
        """Nets a pin stands on, each once: where a meter can be read by these pictures."""
        if self.pins is None or self._assembly is None:
            return []
        at, found = self._assembly, dict[str, None]()
        for pin in self.pins.pins:
            if (net := net_of(at, pin)) is not None:
                found[net] = None
        found.pop(at.common, None)
        return list(found)

    def net_at(self, pin: Any) -> str | None:
        """The net a pin stands on; None for a whole part."""
        return None if self._assembly is None else net_of(self._assembly, pin)

    def source(self, picture: str, *, whole: bool) -> str:
        """Address of a picture, or of its small copy."""
        assert self.pins is not None
        kept = self.pins.pictures[picture]
        return f"/files/{quote(self.place.key)}/{kept.file if whole else kept.preview}"

    def file(self, name: str) -> Path | None:
        """Where a picture lies; None for a name that is not in the file of pins."""
        if self.pins is None:
            return None
        for kept in self.pins.pictures.values():
            if name in (kept.file, kept.preview):
                return self.pins.folder / name
        return None


def net_of(assembly: Assembly, pin: Any) -> str | None:
    """The net a pin stands on; None for a whole part."""
    if pin.net is not None:
        return assembly.find_net(pin.net)
    if pin.point is not None:
        return str(assembly.points[pin.point].net)
    if pin.terminal is not None:
        return str(assembly.parts[pin.part].terminals()[pin.terminal])
    return None


_BOARDS: WeakKeyDictionary[Place, Pinboard] = WeakKeyDictionary()


def pinboard(place: Place) -> Pinboard:
    """The board of a machine."""
    if place not in _BOARDS:
        _BOARDS[place] = Pinboard(place)
    return _BOARDS[place]


def serve_pictures(house: House) -> None:
    """Add the route of pictures: those the file of pins of an open machine names, nothing else."""

    @app.get("/files/{key:path}/{name}", include_in_schema=False)
    async def _picture(key: str, name: str) -> Response:
        place = house.open_place(key)
        board = None if place is None else pinboard(place)
        if board is not None and board.pins is None:
            await board.look()
        path = None if board is None else board.file(name)
        if path is None or not await asyncio.to_thread(path.is_file):
            return Response("There is no such picture.\n", 404, media_type="text/plain")
        kind = "image/png" if path.suffix == ".png" else "image/jpeg"
        return FileResponse(path, media_type=kind, headers={"cache-control": KEEP})
