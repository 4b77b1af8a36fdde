"""Reports, sheets and labels made on a page: kept for a while, opened in a tab or downloaded.

They are handed out behind the guard by a name nobody can guess, and a page among them may run no
script and fetch nothing, whatever is in it.
"""

from __future__ import annotations

import re
import secrets
from collections import OrderedDict
from dataclasses import dataclass

from fastapi import Response
from nicegui import app

MOST = 40  # kept; the oldest goes first
WHERE = "/files/print"
# Beside the policy all pages have, and both hold: styles of its own, drawings, nothing else.
POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox allow-modals"
KINDS = {"html": "text/html; charset=utf-8", "pdf": "application/pdf"}
KINDS |= {"svg": "image/svg+xml", "csv": "text/csv; charset=utf-8"}


@dataclass(frozen=True)
class Print:
    """Something to open: its bytes, what it is (a key of KINDS), the name it is saved under."""

    data: bytes
    kind: str
    name: str


class Prints:
    """What was made since the server started, the last few of it."""

    def __init__(self) -> None:
        self._held: OrderedDict[str, Print] = OrderedDict()

    def add(self, data: bytes | str, kind: str, name: str) -> str:
        """Keep something; its address."""
        raw = data.encode() if isinstance(data, str) else data
        plain = re.sub(r"[^A-Za-z0-9_.-]+", "-", name).strip("-.") or "sheet"
        token = secrets.token_urlsafe(16)
        self._held[token] = Print(raw, kind, f"{plain}.{kind}")
        while len(self._held) > MOST:
            self._held.popitem(last=False)
        return f"{WHERE}/{token}/{plain}.{kind}"

    def find(self, token: str) -> Print | None:
        """What was kept under a token."""
        return self._held.get(token)


def serve_prints(prints: Prints) -> None:
    """Add the route to the framework's application."""

    @app.get(WHERE + "/{token}/{name}")
    def _print(token: str, name: str, save: int = 0) -> Response:
        found = prints.find(token)
        if found is None:
            words = "This sheet is no longer kept: make it again on its page.\n"
            return Response(words, 404, media_type="text/plain")
        how = "attachment" if save else "inline"
        headers = {
            "content-security-policy": POLICY,
            "content-disposition": f'{how}; filename="{found.name}"',
            "cache-control": "no-store",
        }
        return Response(found.data, media_type=KINDS[found.kind], headers=headers)
