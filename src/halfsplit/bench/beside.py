"""Boards whose file lies beside an assembly: their settings, for whoever reports on the machine."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from halfsplit.bench.rack_sheets import resume_sheet, settings_sheet
from halfsplit.bench.racks import RackBench
from halfsplit.boards.which import sort_of
from halfsplit.journal import journal_path
from halfsplit.problems import HalfsplitError


def boards_beside(file: Path) -> list[dict[str, Any]]:
    """Racks in the same folder that have a journal: straps as found and now, what disagrees."""
    found: list[dict[str, Any]] = []
    beside = sorted(p for p in file.parent.glob("*.y*ml") if p.name != file.name)
    for path in beside:
        if sort_of(path) != "boards" or not journal_path(path).exists():
            continue
        try:
            with RackBench(path) as rack:
                sheet, order = settings_sheet(rack), resume_sheet(rack)
        except HalfsplitError as error:
            found.append({"file": path.name, "problem": str(error)})
            continue
        rows = [
            {**p, "board": b["board"], "setting": s["setting"]}
            for b in sheet["boards"]
            for s in b["settings"]
            for p in s["positions"]
        ]
        found.append(
            {
                "file": path.name,
                "machine": sheet["machine"],
                "straps": rows,
                "at_odds": [c["words"] for c in sheet["at_odds"]],
                "fitted": order["fitted"],
                "stop": order["stop"],
                "overridden": [
                    ", ".join(f"{k} {v}" for k, v in o.items()) for o in order["overridden"]
                ],
            }
        )
    return found
