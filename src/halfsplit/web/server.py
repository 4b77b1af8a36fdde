"""Starting and ending the server, and the routes it has."""

from __future__ import annotations

import asyncio
import contextlib
import os
import secrets
import socket
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import uvicorn
from fastapi import FastAPI, Request
from nicegui import app, background_tasks, ui

from halfsplit.bench.shelf import Claim, Shelf
from halfsplit.problems import ExitCode, HalfsplitError
from halfsplit.web.bodies import Bounded
from halfsplit.web.drafts import Drafts
from halfsplit.web.frame import ASSETS, address, frame
from halfsplit.web.guard import Guard, Rules, rules
from halfsplit.web.house import House, Place, load_solver
from halfsplit.web.html import Tag, link
from halfsplit.web.meters import stop_meters
from halfsplit.web.pinboard import serve_pictures
from halfsplit.web.prints import serve_prints
from halfsplit.web.registry import PAGES, Page, load_pages, pages_of
from halfsplit.web.shelf_page import shelf_page
from halfsplit.web.view import View, words_of

PORT = 8463  # any free one above the system's own would do
LOOPBACK = ("127.0.0.1", "localhost", "::1")
# A tablet that sleeps or a dropped network may come back within this, its page as it was [s].
RECONNECT = 120.0
OPENING = 60.0  # s a page may take to be drawn
PATIENCE = 0.5  # s a page waits for its machine before it is sent without
LATER = 1.5  # s after the start what solves is imported, unless a machine is opened before
# s a thread that thinks keeps the interpreter while a page waits to be drawn; the usual 5 ms, lost
# at every answer of the network, add up to a quarter of a second a reading.
SWITCH = 0.0005
GRACE = 2  # s given to open connections when it is stopped
MOST_MESSAGE = 1_000_000  # bytes of one message of a page; the framework itself sends no more
STATIC = Path(__file__).parent / "static"


class PortError(HalfsplitError):
    """The port asked for is taken."""

    exit_code = ExitCode.BUSY


@dataclass(frozen=True)
class Opening:
    """What a server was opened with: `address` is what to type into a browser."""

    folder: Path
    port: int
    address: str
    secret: str
    lan: bool


def listening(host: str, wanted: int | None) -> socket.socket:
    """A socket that listens: on the port wanted, else on the usual one, else on any.

    It listens before the address is told, so nobody else can take the port in between, and a
    browser that is quick waits instead of being refused. Raises PortError.
    """
    for port in [wanted] if wanted is not None else [PORT, 0]:
        made = socket.socket()
        if os.name != "nt":  # there it would let two servers share a port
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((host, port))
            made.listen(128)
            return made
        except OSError as error:
            made.close()
            taken = error
    raise PortError(f"port {wanted} cannot be used: {taken}; name another with --port")


def lan_names() -> list[str]:
    """Names and addresses others on the local network may reach this machine by."""
    name = socket.gethostname()
    found = [name, f"{name}.local"]
    with contextlib.suppress(OSError):
        found += [str(info[4][0]) for info in socket.getaddrinfo(name, None, socket.AF_INET)]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:  # sends nothing: asks the system which address it would send from
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1, RFC 5737: belongs to nobody
            found.insert(0, str(probe.getsockname()[0]))
        except OSError:
            pass
    return list(dict.fromkeys(found))


def secret_in(place: Path, *, new: bool = False) -> str:
    """This shelf's secret, kept so that a restart does not turn every device away."""
    file = place / "secret"
    if not new:
        try:
            held = file.read_text(encoding="ascii").strip()
        except (OSError, ValueError):
            held = ""
        if len(held) >= 32:
            return held
    made = secrets.token_urlsafe(32)
    file.unlink(missing_ok=True)
    with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as stream:
        stream.write(made)
    return made


def build(house: House) -> None:
    """Set up the routes on the framework's own application."""
    load_pages()
    app.add_static_files(ASSETS, STATIC)
    serve_prints(house.prints)

    serve_pictures(house)

    @ui.page("/", response_timeout=OPENING)
    async def _shelf(search: str = "", page: int = 1) -> None:
        await shelf_page(house, search, page)

    @ui.page("/{slug}/{key:path}", response_timeout=OPENING)
    async def _machine(slug: str, key: str, request: Request) -> None:
        await machine_route(house, slug, key)


async def machine_route(house: House, slug: str, key: str) -> None:
    """One page of one machine, or words about why there is none.

    A machine not open within `PATIENCE` is waited for on the page, which then goes on by itself.
    """
    page = PAGES.get(slug)
    if page is None:
        _no_such_page(slug, key)
        return
    coming = asyncio.ensure_future(_arrive(house, page, key))
    ui.context.client.on_delete(lambda: coming.add_done_callback(partial(_depart, house)))
    known = house.open_place(key)
    at_hand = known is not None and known.is_open
    await asyncio.wait([coming], timeout=None if at_hand else PATIENCE)
    if not coming.done():
        with frame("Opening"):
            box = _opening(key)
        waiting = _go_on(page, key, coming, box)
        background_tasks.create(waiting, name=f"opening {key}")
        return
    place, error = coming.result()
    if place is None:
        _no_such_page(slug, key)
    elif error is not None:
        with frame("Not opened"):
            _not_opened(error, place, page)
    else:
        view = View(place, house.drafts, house.prints)
        with frame(f"{page.label}: {view.facts.get('name', place.file.stem)}", view, page):
            await page.build(view)


async def _arrive(house: House, page: Page, key: str) -> tuple[Place | None, HalfsplitError | None]:
    """The machine for one more page, open, or why it could not be opened."""
    place = await house.enter(key, loose=page.loose)
    if place is None or place.sort not in page.sorts:
        if place is not None:
            house.leave(place)
        return None, None
    try:
        if not page.loose:
            await place.opened()
    except HalfsplitError as error:
        return place, error
    return place, None


def _depart(house: House, coming: asyncio.Future[tuple[Place | None, Any]]) -> None:
    if not coming.cancelled() and coming.exception() is None:
        place = coming.result()[0]
        if place is not None:
            house.leave(place)


def _opening(key: str) -> Tag:
    """What is shown while a machine is opened, by a slow computer or for the first time."""
    with Tag("div", "", "waiting", aria_live="polite") as box:
        Tag("h1", "Opening …")
        words = (
            f"Reading {key}. The first machine on a computer takes seconds more, as the catalogue "
            "of parts is read and kept; the page goes on by itself."
        )
        Tag("p", words, "quiet-words")
        link("To the shelf", "/", "act plain")
    return box


async def _go_on(page: Page, key: str, coming: asyncio.Future[Any], box: Tag) -> None:
    """Once the machine is open the page is asked for again, and is there at once."""
    try:
        await box.client.connected(timeout=OPENING)
    except TimeoutError:  # whoever asked is gone
        return
    place, error = await asyncio.shield(coming)
    if box.is_deleted:
        return
    if place is not None and error is None:
        box.client.run_javascript("location.reload()")
        return
    box.clear()
    with box:
        if place is not None:
            _not_opened(error, place, page)
        else:
            _no_such(page.slug, key)


def _no_such_page(slug: str, key: str) -> None:
    with frame("Not found"):
        _no_such(slug, key)


def _no_such(slug: str, key: str) -> None:
    Tag("h1", "There is no such page")
    Tag("p", f"Nothing on this shelf is called “{key}”, or it has no page “{slug}”.")
    link("To the shelf", "/", "act")


def _not_opened(error: HalfsplitError, place: Place, page: Page) -> None:
    """What is wrong with a machine's file, and where it can be typed on."""
    Tag("h1", "This machine could not be opened")
    for line in words_of(error):
        Tag("p", line, "trouble")
    with Tag("p", "", "doors"):
        for other in pages_of(place.sort):
            if other.loose:
                link(other.label, address(other.slug, place.key), "act", data_key="loose")
        link("Try again", address(page.slug, place.key), "act")
        link("To the shelf", "/", "act")


def opening(folder: Path, port: int, secret: str, *, lan: bool) -> Opening:
    """What to tell people."""
    name = lan_names()[0] if lan else "127.0.0.1"
    token = f"?token={secret}" if lan else ""
    return Opening(folder, port, f"http://{name}:{port}/{token}", secret, lan)


def application(house: House, guard: Rules) -> Guard:
    """The whole server as one ASGI application, the guard outermost."""
    outer = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
    build(house)
    app.on_shutdown(house.drafts.flush_all)
    app.on_shutdown(stop_meters)
    ui.run_with(
        outer,
        title="Halfsplit",
        favicon=STATIC / "icon.svg",
        dark=None,
        language="en-GB",
        tailwind=False,
        reconnect_timeout=RECONNECT,
        binding_refresh_interval=None,
        show_welcome_message=False,
    )
    return Guard(Bounded(outer), guard)


def _started(ready: Callable[[], None]) -> None:
    """The address first; then, once a first page had time to be drawn, what a machine will need."""
    ready()
    loop = asyncio.get_running_loop()
    loop.call_later(LATER, loop.run_in_executor, None, load_solver)


def serve(
    folder: Path,
    *,
    port: int | None = None,
    lan: bool = False,
    new_token: bool = False,
    pretend: bool = False,
    ready: Callable[[Opening], None],
) -> bool:
    """Serve a folder of machines until stopped; `ready` is called once pages can be opened.

    With `pretend` a simulated meter is offered. Returns whether every thread ended. Raises
    ShelfBusyError, PortError.
    """
    sys.setswitchinterval(SWITCH)
    claim = Claim(folder)
    try:
        with listening("0.0.0.0" if lan else "127.0.0.1", port) as listener:
            chosen = int(listener.getsockname()[1])
            told = opening(folder, chosen, secret_in(claim.place, new=new_token), lan=lan)
            claim.told(told.address.partition("?")[0])
            house = House(Shelf(folder), Drafts(claim.place / "drafts"), pretend=pretend)
            names = [*LOOPBACK, *(lan_names() if lan else [])]
            guarded = application(house, rules(names, chosen, told.secret, open_door=not lan))
            app.on_startup(lambda: _started(lambda: ready(told)))
            config = uvicorn.Config(
                guarded,
                log_level="warning",
                ws="wsproto",
                ws_max_size=MOST_MESSAGE,
                proxy_headers=False,
                timeout_graceful_shutdown=GRACE,
            )
            with contextlib.suppress(KeyboardInterrupt):  # raised again once it has shut down
                uvicorn.Server(config).run(sockets=[listener])
            return house.close()
    finally:
        claim.free()
