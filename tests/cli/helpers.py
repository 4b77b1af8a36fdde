"""What the command tests share: commands, files, and a look into the journal."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from halfsplit.cli.app import app
from halfsplit.journal import Journal, journal_path

ROOT = Path(__file__).resolve().parents[2]
NO_SOURCE = ROOT / "tests" / "files" / "bad" / "no_source.yaml"
QUILLON = ROOT / "examples" / "quillon16" / "boards.yaml"
FOLLOWER = ROOT / "tests" / "files" / "bench-follower.yaml"
PROGRAM = [sys.executable, "-c", "from halfsplit.cli import main; main()"]
COMMANDS = sorted(name for name in app if not name.startswith("-"))


def stored(file: Path) -> list[tuple[int, str, dict[str, Any]]]:
    with Journal.open(journal_path(file)) as journal:
        return [(e.seq, e.kind, dict(e.body)) for e in journal.entries()]
