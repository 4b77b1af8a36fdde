"""One process at a time may hold a journal open."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from typing import IO

if sys.platform == "win32":
    import msvcrt

    def _take(stream: IO[str]) -> None:
        msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(stream: IO[str]) -> None:
        fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)


def acquire(path: Path, wait: float) -> IO[str] | None:
    """Lock `path` within `wait` seconds, or None. The system frees the lock of a killed process."""
    stream = path.open("a+", encoding="utf-8")
    until = time.monotonic() + wait
    while True:
        try:
            _take(stream)
        except OSError:
            if time.monotonic() >= until:
                stream.close()
                return None
            time.sleep(0.05)
            continue
        stream.seek(0)
        stream.truncate()
        stream.write(str(os.getpid()))
        stream.flush()
        return stream
