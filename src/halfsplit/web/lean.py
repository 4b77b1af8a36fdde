"""Importing the server quickly: somebody waits at the bench for its address."""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager

# The websocket engine imports an HTTP client if there is one, for connecting to other servers. This
# server connects to none, and that client is a tenth of all that is imported.
UNUSED = ("aiohttp",)


@contextmanager
def quickly() -> Iterator[None]:
    """Import what is inside without the garbage collector and without clients nobody uses.

    What was imported lives as long as the process, so the collector need never look at it again.
    """
    masked = [name for name in UNUSED if name not in sys.modules]
    for name in masked:
        sys.modules[name] = None  # type: ignore[assignment]  # makes its import fail, as if not there
    collected = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        for name in masked:
            sys.modules.pop(name, None)
        gc.freeze()
        if collected:
            gc.enable()
