"""The command that opens the bench app."""

from __future__ import annotations

import json as as_json
import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter
from cyclopts.validators import Number

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit
from halfsplit.problems import ExitCode, NotFoundError
from halfsplit.web.lean import quickly

if TYPE_CHECKING:
    from halfsplit.web.server import Opening


def app(
    folder: Path = Path(),
    *,
    port: Annotated[
        int | None, Parameter(help="port to listen on", validator=Number(gte=1, lte=65535))
    ] = None,
    lan: Annotated[
        bool, Parameter(negative="", help="let others on the local network in, by a token")
    ] = False,
    new_token: Annotated[
        bool, Parameter(negative="", help="turn away every device let in before")
    ] = False,
    simulated_meter: Annotated[
        bool, Parameter(negative="", help="offer a meter that is not there, for practice")
    ] = False,
    list_: Annotated[
        bool, Parameter(name="--list", negative="", help="only list the machines, serve nothing")
    ] = False,
    json: Json = False,
) -> int:
    """Open the bench app: pages in a browser for every machine under a folder.

    With --json one line tells the address once pages can be opened; then it serves until Ctrl-C.
    """
    if not folder.is_dir():
        raise NotFoundError(f"{folder}: there is no such folder")
    if list_:
        from halfsplit.bench.shelf import Shelf, listing

        data = listing(Shelf(folder))
        return emit(data, json, lambda: _list(data))
    with quickly():
        from halfsplit.web.server import serve

    ended = serve(
        folder.resolve(),
        port=port,
        lan=lan,
        new_token=new_token,
        pretend=simulated_meter,
        ready=lambda o: _ready(o, json),
    )
    show.error("stopped; everything entered is on disk")
    if not ended:  # a solve that cannot be stopped would keep the process for minutes
        os._exit(ExitCode.INTERRUPTED)
    return ExitCode.INTERRUPTED


def _ready(told: Opening, json: bool) -> None:
    if json:
        line = {"address": told.address, "folder": str(told.folder), "lan": told.lan}
        print(as_json.dumps(line | {"port": told.port, "process": os.getpid()}), flush=True)
        return
    show.say(f"Open in a browser: {told.address}")
    if told.lan:
        show.say("Whoever has that address can enter readings; it works on this network only.")
    show.say(f"Machines under {told.folder}. Stop with Ctrl-C; everything entered is on disk.")


def _list(data: dict[str, Any]) -> None:
    for row in data["machines"]:
        show.say(f"{row['name']} ({row['key']}): {row['state']}, {row['condition'] or 'no entry'}")
        for item in row["open_items"]:
            show.say(f"  open item: {item}")
        for line in row["hazards"] or ():
            show.say(f"  hazard: {line}")
        if row["next"]:
            stale = f", as of entry {row['next_at']}" if row["stale"] else ""
            show.say(f"  next{stale}: {row['next']}")
        if row["trouble"]:
            show.say(f"  {row['trouble']}")
    show.say(f"{data['total']} in {data['folder']}, page {data['page']} of {data['pages']}")
