"""Whether a long console log stays as quick as a short one.

    python benchmarks/console_page.py [--json]

Prints how many times longer a page of a 2 MB log takes than a page of a 100 kB log, the newest page
and one in the middle. Near 1 is as it should be; 20 would mean that whole logs are read.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from halfsplit.bench.console import page, paste
from halfsplit.boards.consoles import open_console
from halfsplit.journal import Journal

DEMO = Path(__file__).resolve().parents[1] / "examples" / "quillon16" / "console.yaml"
LINE = "E5 A=5A3C W=0020 R=0000\r\n"


def spent(journal: Journal, before: int | None) -> float:
    """Seconds of the quickest of five pages."""
    console = open_console(DEMO)
    times = []
    for _ in range(5):
        start = time.perf_counter()
        page(console, journal, before)
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    """Fill two journals and compare."""
    found = []
    for size in (100_000, 2_000_000):
        folder = Path(tempfile.mkdtemp(prefix="halfsplit-page-"))
        with Journal.open(folder / "log.journal") as journal:
            paste(open_console(DEMO), journal, LINE * (size // len(LINE)), {})
            last = journal.page("console", None, 1)[0].seq
            found.append((spent(journal, None), spent(journal, last - 2)))
    ratios = {w: found[1][k] / found[0][k] for k, w in enumerate(("newest page", "page before"))}
    if "--json" in sys.argv:
        print(json.dumps(ratios))
        return
    for where, ratio in ratios.items():
        print(f"{where}: {ratio:.2f} times")


if __name__ == "__main__":
    main()
