"""The command line: a thin face over :mod:`halfsplit.bench`. It prints and computes nothing."""

from __future__ import annotations

import io
import sys


def _with_values(argv: list[str]) -> list[str]:
    """`read FILE n12 -1.81V` as n12=-1.81V: a value with its sign is no option."""
    if argv[:1] != ["read"]:
        return argv
    found = argv[:2]
    for word in argv[2:]:
        signed = len(word) > 1 and word[0] in "-\N{MINUS SIGN}" and word[1] in "0123456789.,"
        if signed and len(found) > 2 and found[-1][:1] != "-" and "=" not in found[-1]:
            found[-1] += f"={word}"
        else:
            found.append(word)
    return found


def main(argv: list[str] | None = None) -> int:
    """Run one command and exit with its code (see :class:`halfsplit.problems.ExitCode`)."""
    from halfsplit.cli.app import run

    for stream in (sys.stdout, sys.stderr):  # a terminal without Ω must not end a command
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    code = run(_with_values(sys.argv[1:] if argv is None else argv))
    if argv is None:
        sys.exit(code)
    return code
