"""The bench app on demo 1: start, reading to both devices, and a shelf of a thousand machines.

    python benchmarks/app_pages.py [--json] [--machines 1000] [--readings 10000]

* start: from the command to the address it prints, median of five, and until the shelf was sent
  to whoever asked at once. The alternative in the same run is importing the web framework alone.
* reading: Enter on one device until both show what was stored, until both show the next check, and
  until both show the suspects (two pages of Debian's chromium, median over a story of readings).
  The alternative in the same run is what the command line takes for it: `read`, then `next`.
* shelf: a page of the shelf as its page asks for it, first and second time, and a search; forty
  journals of their own, the rest links to them. The alternative is opening one machine after the
  other as `resume` does, timed on five, times their number. `rendered`: the same shelf in the
  browser, from asking for the address until every row of the page is drawn, the median of five; the
  first is of a server that has not looked at the shelf yet.

The load of the machine is printed beside: another busy process makes every figure worse.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from playwright.sync_api import sync_playwright
from tests.browser.conftest import PROGRAM, QUIET, Server

from halfsplit.bench.noting import Noter
from halfsplit.bench.shelf import PER_PAGE, Shelf, glimpse

TRAY = Path(__file__).resolve().parents[1] / "examples" / "hd40" / "pt3.yaml"
READINGS = ("p5 1.10", "n12 -1.71", "n1x -2.40", "b2 -3.6", "zk -1.7", "p12 11.9", "ref 1.0")
DISTINCT = 40  # journals of their own; the rest are links to these, to spare the disk
BENCH = "/bench/pt3.yaml"
STARTS = 5
# Suspects as of the last entry: they say "as of" only while they are older.
SUSPECTS_NOW = ".box.suspects:not(:has(.behind)) .group >> nth=0"


def command(*words: str) -> float:
    """Seconds a command takes."""
    begin = time.perf_counter()
    subprocess.run([*PROGRAM, *words], check=True, capture_output=True)
    return time.perf_counter() - begin


def starts(folder: Path) -> dict[str, Any]:
    """Starting the server, again and again: nothing of one start is left for the next but files."""
    shutil.copy(TRAY, folder / "pt3.yaml")
    printed, sent = [], []
    for _ in range(STARTS):
        begin = time.perf_counter()
        server = Server(folder)
        printed.append(time.perf_counter() - begin)
        with urllib.request.urlopen(server.address, timeout=60) as answer:
            assert b"Power tray PT-3" in answer.read()
        sent.append(time.perf_counter() - begin)
        server.stop()
    bare = []
    for _ in range(STARTS):
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import nicegui"], check=True)
        bare.append(time.perf_counter() - begin)
    start, framework = statistics.median(printed), statistics.median(bare)
    return {
        "load": os.getloadavg()[0],
        "start_s": start,
        "shelf_sent_s": statistics.median(sent),
        "framework_alone_s": framework,
        "times_framework": start / framework,
    }


def rendered(folder: Path, machines: int) -> dict[str, Any]:
    """The shelf in a browser: rows drawn after its address was asked for."""
    server = Server(folder)
    spent = []
    try:
        with sync_playwright() as playwright:
            program = shutil.which("chromium") or ""
            browser = playwright.chromium.launch(executable_path=program, args=QUIET)
            page = browser.new_page()
            for _ in range(STARTS):
                begin = time.perf_counter()
                page.goto(server.address + "/", wait_until="commit")
                page.locator(".pager").wait_for()  # drawn after the rows
                assert page.locator(".shelf .card").count() == PER_PAGE
                spent.append(time.perf_counter() - begin)
            assert f"{machines} machines" in page.locator(".about").inner_text()
            browser.close()
    finally:
        server.stop()
    return {"rendered_first_s": spent[0], "rendered_s": statistics.median(spent)}


def readings(folder: Path) -> dict[str, Any]:
    """Start, and a story of readings on two devices."""
    shutil.copy(TRAY, folder / "pt3.yaml")
    command("change", str(folder / "pt3.yaml"), "--feed", "raws", "--load", "bench")
    by_command = [
        command("read", str(folder / "pt3.yaml"), text.replace(" ", "="))
        + command("next", str(folder / "pt3.yaml"))
        for text in READINGS[:3]
    ]
    for _ in READINGS[:3]:
        command("undo", str(folder / "pt3.yaml"))
    server = Server(folder)
    told, worked, blamed = [], [], []
    try:
        with sync_playwright() as playwright:
            program = shutil.which("chromium") or ""
            browser = playwright.chromium.launch(executable_path=program, args=QUIET)
            pages = [browser.new_context().new_page() for _ in range(2)]
            for page in pages:
                page.goto(server.address + BENCH)
                page.locator("[data-key=reading]").wait_for()
            entry = 2 + 2 * len(READINGS[:3])
            for text in READINGS:
                pages[0].locator(".next:not(:has(.behind)) .what").first.wait_for()
                pages[0].locator("[data-key=reading]").fill(text)
                pages[0].locator("#heard.good").wait_for()
                begin = time.perf_counter()
                pages[0].keyboard.press("Enter")
                for page in pages:
                    page.locator(".said", has_text=f"Stored as entry {entry}").wait_for()
                told.append(time.perf_counter() - begin)
                for page in pages:
                    page.locator(".next:not(:has(.behind)) .what").first.wait_for()
                worked.append(time.perf_counter() - begin)
                for page in pages:
                    page.locator(SUSPECTS_NOW).wait_for()
                blamed.append(time.perf_counter() - begin)
                entry += 1
            browser.close()
    finally:
        server.stop()
    return {
        "load": os.getloadavg()[0],
        "stored_on_both_s": statistics.median(told),
        "next_check_on_both_s": statistics.median(worked),
        "suspects_on_both_s": statistics.median(blamed),
        "command_line_s": statistics.median(by_command),
        "times_quicker": statistics.median(by_command) / statistics.median(worked),
    }


def many(folder: Path, machines: int, count: int) -> None:
    """A shelf: one journal filled by the bench, its rows multiplied, copied for every machine."""
    first = folder / "m0000.yaml"
    shutil.copy(TRAY, first)
    with Noter(first) as noter:
        noter.set_condition(noter.condition_from("raws", "half"))
        for k in range(20):
            noter.read("p5", f"1.{k:02d}")
        noter.change("R12 lift a")
    journal = first.with_suffix(".journal")
    db = sqlite3.connect(journal)
    rows = db.execute("SELECT at, kind, body FROM entry WHERE kind = 'read'").fetchall()
    with db:
        for k in range(count - 20):
            db.execute("INSERT INTO entry (at, kind, body) VALUES (?, ?, ?)", rows[k % 20])
    db.close()
    for k in range(1, machines):
        shutil.copy(first, folder / f"m{k:04d}.yaml")
        mine, shared = folder / f"m{k:04d}.journal", folder / f"m{k % DISTINCT:04d}.journal"
        if k < DISTINCT:
            shutil.copy(journal, mine)
        else:
            os.link(shared, mine)


def shelf(folder: Path, machines: int, count: int) -> dict[str, Any]:
    """A page of a large shelf, first and second time, and one search."""
    many(folder, machines, count)
    begin = time.perf_counter()
    for found in Shelf(folder).scan()[:5]:
        with Noter(found.path) as noter:
            assert len(noter.entries) > count
    one_by_one = (time.perf_counter() - begin) / 5 * machines
    listed = Shelf(folder)
    spent = {}
    for name, words in (("first_s", ""), ("again_s", ""), ("search_s", "m0777")):
        begin = time.perf_counter()
        page = listed.page(words)
        rows = [glimpse(f) for f in page.rows]
        spent[name] = time.perf_counter() - begin
        assert all(r["readings"] == count and r["open_items"] for r in rows) and rows
    spent |= rendered(folder, machines)
    spent |= {"one_by_one_s": one_by_one, "times_quicker": one_by_one / spent["first_s"]}
    return {"load": os.getloadavg()[0], **spent}


def main() -> None:
    def option(name: str, usual: int) -> int:
        return int(sys.argv[sys.argv.index(name) + 1]) if name in sys.argv else usual

    with tempfile.TemporaryDirectory() as name:
        folders = [Path(name) / n for n in ("one", "many", "cache")]
        for folder in folders:
            folder.mkdir()
        os.environ.setdefault("HALFSPLIT_CACHE", str(folders[2]))
        found = {
            "start": starts(folders[0]),
            "shelf": shelf(folders[1], option("--machines", 1000), option("--readings", 10000)),
            "readings": readings(folders[0]),
        }
    if "--json" in sys.argv:
        print(json.dumps(found, indent=2))
        return
    for part, values in found.items():
        for what, value in values.items():
            print(f"{part:10s} {what:22s} {value:8.2f}")


if __name__ == "__main__":
    main()
