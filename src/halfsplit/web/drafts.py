"""What is half typed, kept on disk: it survives a dropped connection and a server that died.

One small file a machine, in the user's cache beside what the shelf keeps. Each field has its text
and, for readings, the *ticket* it will be stored under: the journal stores a ticket once, so a
reading sent just before the server died is not stored twice when the field comes back with it.
"""

from __future__ import annotations

import asyncio
import json
import os
import secrets
from pathlib import Path
from typing import Any

QUIET = 0.3  # s without a keystroke before a draft is written


class Drafts:
    """Drafts of the machines of one shelf."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._held: dict[str, dict[str, str]] = {}
        self._due: dict[str, asyncio.TimerHandle] = {}

    def fields(self, machine: str) -> dict[str, str]:
        """Every field's text of a machine, as last typed."""
        if machine not in self._held:
            self._held[machine] = self._load(machine)
        return dict(self._held[machine])

    def put(self, machine: str, **texts: str) -> None:
        """Note fields as they are now; on disk after a moment without a keystroke."""
        held = self.fields(machine) | texts
        self._held[machine] = {k: v for k, v in held.items() if v}
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self.flush(machine)
            return
        if (due := self._due.pop(machine, None)) is not None:
            due.cancel()
        self._due[machine] = loop.call_later(QUIET, self.flush, machine)

    def flush(self, machine: str) -> None:
        """Put a machine's drafts on disk now; a disk that is full loses only the draft's copy."""
        if (due := self._due.pop(machine, None)) is not None:
            due.cancel()
        place = self._place(machine)
        trial = place.with_suffix(f".{os.getpid()}.part")
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with trial.open("w", encoding="utf-8") as stream:
                json.dump(self._held.get(machine, {}), stream, ensure_ascii=False)
                stream.flush()
                os.fsync(stream.fileno())
            trial.replace(place)
        except OSError:
            return

    def flush_all(self) -> None:
        """Put everything on disk, at the end."""
        for machine in list(self._due):
            self.flush(machine)

    def _place(self, machine: str) -> Path:
        return self.folder / f"{machine}.json"

    def _load(self, machine: str) -> dict[str, str]:
        try:
            data: Any = json.loads(self._place(machine).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        if not isinstance(data, dict):
            return {}
        return {str(k): str(v) for k, v in data.items()}


def ticket() -> str:
    """A key a reading is stored under, never given twice."""
    return f"app-{secrets.token_urlsafe(12)}"
