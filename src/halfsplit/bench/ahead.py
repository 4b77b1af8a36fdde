"""Hazards of machines nobody has open, read in a process of its own.

To read a file takes a tenth of a second of the interpreter, the first one on a computer seconds.
Within a server that would hold up every page, so this module is also a program: paths of files on
its standard input as JSON, one row of the shelf (see :func:`halfsplit.bench.shelf.thorough`) a line
on its standard output, as soon as it is known.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any

from halfsplit.bench.shelf import Found, thorough

LOWER = 10  # how much less than the server the reader presses for processor time
COMMAND = (sys.executable, "-c", "from halfsplit.bench.ahead import main; main()")


class Reader:
    """A process that reads the files of some machines."""

    def __init__(self, asked: Sequence[Found]) -> None:
        self._process = subprocess.Popen(
            COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        listed = [asdict(f) | {"path": str(f.path)} for f in asked]
        assert self._process.stdin is not None
        with suppress(OSError), self._process.stdin as stream:  # when it ended at once
            stream.write(json.dumps(listed).encode())

    def row(self) -> dict[str, Any] | None:
        """The next row; None after the last, or when the reader failed."""
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        return dict(json.loads(line)) if line.endswith(b"\n") else None

    def close(self) -> None:
        """End the reader, whether or not it is done."""
        self._process.kill()
        self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()


def main() -> None:
    """Read what is asked for on standard input."""
    with suppress(AttributeError, OSError):  # not on every system
        os.nice(LOWER)
    asked = [Found(**{**f, "path": Path(f["path"])}) for f in json.load(sys.stdin)]
    for found in asked:
        print(json.dumps(thorough(found)), flush=True)
