"""The command line: a thin face over :mod:`halfsplit.bench`. It prints and computes nothing."""

from __future__ import annotations

import io
import sys


def main(argv: list[str] | None = None) -> int:
    """Run one command and exit with its code (see :class:`halfsplit.problems.ExitCode`)."""
    from halfsplit.cli.app import run

    for stream in (sys.stdout, sys.stderr):  # a terminal without Ω must not end a command
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    code = run(sys.argv[1:] if argv is None else argv)
    if argv is None:
        sys.exit(code)
    return code
