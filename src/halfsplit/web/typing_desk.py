"""Files being typed in this server: one desk a file, whatever pages show it."""

from __future__ import annotations

from pathlib import Path

from halfsplit.bench.typing_in import TypingIn

_DESKS: dict[Path, TypingIn] = {}


def typing_desk(file: Path) -> TypingIn:
    """The desk of a file; what was written there can be taken back until the server ends."""
    return _DESKS.setdefault(file.resolve(), TypingIn(file))
