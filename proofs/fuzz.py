"""Mutated files, tables and bundles thrown at everything that reads them.

    python proofs/fuzz.py --cases 100000 --out /tmp/fuzz.jsonl

Each case is checked: nothing but the project's own errors comes out, it takes at most 5 s of
processor time (a busy machine's clock says nothing), it stays within a gigabyte over what the
program takes by itself (RLIMIT_AS), and nothing is written, renamed or removed outside the case's
own folder (an audit hook sees every attempt). Parsing and checking only; no circuit is solved.

Case k is the same whatever ran before it: `--case k` runs it alone and shows what it got. A run is
taken up where it stopped when `--out` names the same file. `--only bundles`, or a target's name,
narrows it; `--list` names the targets. Exit code 1 when anything was found.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from random import Random
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

LIMIT = 5.0  # s of processor time a case may take
WALL = 240.0  # s by the clock after which a worker is given up, however busy the machine
MEMORY = 1 << 30  # bytes beyond what the loaded program takes
CHUNK = 500  # cases between two lines of the file of results
WRITING = {
    "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.link", "os.symlink", "os.truncate",
    "os.chmod",
    "os.chown", "os.utime", "shutil.rmtree", "shutil.move", "shutil.copyfile", "sqlite3.connect",
    "tempfile.mkdtemp", "tempfile.mkstemp",
}  # fmt: skip
RELATIVE = {"os.remove", "os.rmdir"}  # those shutil.rmtree asks for by an open folder
STARTING = {
    "os.system",
    "os.exec",
    "os.posix_spawn",
    "subprocess.Popen",
    "socket.connect",
    "os.fork",
}


class Guard:
    """Notes every attempt to write outside `inside`, or to start or reach anything."""

    def __init__(self) -> None:
        self.inside: list[str] = []
        self.seen: list[str] = []
        self.on = False
        sys.addaudithook(self._hear)

    def _hear(self, event: str, args: tuple[Any, ...]) -> None:
        if not self.on:
            return
        if event in STARTING:
            self.seen.append(event)
        elif event == "open":
            path, mode, flags = args
            writes = any(c in (mode or "") for c in "wax+")
            writes |= bool((flags or 0) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC))
            if writes and not isinstance(path, int):
                self._judge(event, path)
        elif event in WRITING:
            within = [a for a in args[1:] if isinstance(a, int) and a > 2]  # an open folder
            for path in args[:2]:
                if isinstance(path, (str, bytes, os.PathLike)):
                    text = os.fsdecode(path)
                    if event in RELATIVE and within and not text.startswith("/"):
                        text = f"/proc/self/fd/{within[-1]}/{text}"
                    self._judge(event, text)

    def _judge(self, event: str, path: Any) -> None:
        text = os.fsdecode(path)
        if text in ("", ":memory:") or (text.startswith("file:") and "mode=ro" in text):
            return
        # The folder's own name is resolved, so that a link that leads out is seen to do so.
        path = Path(text).absolute()
        real = str(path.parent.resolve() / path.name)
        if not any(real == p or real.startswith(p + os.sep) for p in self.inside):
            self.seen.append(f"{event} {real}")


def targets() -> Any:
    """All targets, in the order that a case's number goes by."""
    from proofs.fuzz_registry import TARGETS

    for name in (
        "fuzz_targets",
        "fuzz_bundles",
        "fuzz_typing",
    ):  # importing them registers what they hold
        importlib.import_module(f"proofs.{name}")
    return TARGETS


def run_case(
    number: int, seed: int, only: list[str], root: Path, guard: Guard | None
) -> dict[str, Any]:
    """One case in a folder of its own under `root`; what came of it."""
    from proofs.fuzz_registry import Case, attempt

    rng = Random(f"{seed}:{number}")
    one = targets().pick(rng, only)
    folder = root / "case"
    folder.mkdir()
    if guard:
        guard.inside, guard.seen = [str(folder.resolve())], []
    found: dict[str, Any] = {"case": number, "target": one.name, "sort": one.sort}
    before = {p.name for p in root.iterdir()}
    began = time.process_time()
    if guard:
        guard.on = True
    try:
        found["came"] = attempt(one, Case(rng, folder))
    except MemoryError:
        found |= {"came": "memory", "how": "over the memory allowed"}
    except BaseException as error:
        if isinstance(error, (KeyboardInterrupt, SystemExit)) and not guard:
            raise
        found |= {"came": "traceback", "how": f"{type(error).__name__}: {error}"[:300]}
        frames = traceback.extract_tb(error.__traceback__)[-6:]
        found["where"] = [f"{Path(f.filename).name}:{f.lineno}" for f in frames]
    finally:
        if guard:
            guard.on = False
    found["cpu"] = round(time.process_time() - began, 4)
    strayed = sorted({p.name for p in root.iterdir()} - before)
    if guard and (guard.seen or strayed):
        found |= {"came": "strayed", "how": "; ".join([*guard.seen, *strayed])[:300]}
    if found["came"] in ("taken", "told", "refused") and found["cpu"] > LIMIT:
        found |= {"came": "hang", "how": f"{found['cpu']:.1f} s"}
    shutil.rmtree(folder, ignore_errors=True)
    return found


def work(first: int, last: int, seed: int, only: list[str]) -> int:
    """Run cases, a line of JSON each on the way out; the parent ends us if one does not end."""
    import resource

    from proofs.fuzz_bundles import contents
    from proofs.fuzz_seeds import bad, bench, racks, real
    from proofs.fuzz_targets import codes, messages

    for warm in (bad, bench, codes, contents, messages, racks, real):
        warm()  # tables are read once, before anything is measured
    warnings.simplefilter("error")  # a warning is a line nobody asked for
    guard = Guard()
    with tempfile.TemporaryDirectory(prefix="fuzz") as folder:
        pages = int(Path("/proc/self/statm").read_text().split()[0])
        most = pages * resource.getpagesize() + MEMORY
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        print(json.dumps({"ready": True}), flush=True)
        for number in range(first, last):
            print(json.dumps({"start": number}), flush=True)
            found = run_case(number, seed, only, Path(folder), guard)
            found["rss"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
            print(json.dumps(found), flush=True)
    return 0


def _cpu(pid: int) -> float:
    """Processor seconds a process has used."""
    try:
        words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")


def watched(first: int, last: int, seed: int, only: list[str]) -> Iterator[dict[str, Any]]:
    """What came of each case, from workers that are ended and begun anew when one does not end."""
    number = first
    while number < last:
        options = [
            "--work",
            str(number),
            str(last),
            "--seed",
            str(seed),
            *(f"--only={o}" for o in only),
        ]
        worker = subprocess.Popen(
            [sys.executable, __file__, *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        assert worker.stdout is not None and worker.stderr is not None
        since: dict[str, float] = {}
        killed: list[str] = []

        def watch(
            worker: Any = worker, since: dict[str, float] = since, killed: list[str] = killed
        ) -> None:
            while worker.poll() is None:
                time.sleep(0.25)
                at = since.copy()  # a case may end while this looks
                if not at:
                    continue
                if _cpu(worker.pid) - at["cpu"] > LIMIT + 1.0:
                    killed.append(f"over {LIMIT:g} s of processor time")
                elif time.monotonic() - at["clock"] > WALL:
                    killed.append(f"over {WALL:g} s by the clock")
                if killed:
                    worker.kill()

        threading.Thread(target=watch, daemon=True).start()
        running: int | None = None
        for line in worker.stdout:
            said = json.loads(line)
            if "start" in said:
                running = said["start"]
                since |= {"cpu": _cpu(worker.pid), "clock": time.monotonic()}
            elif "case" in said:
                since.clear()
                number, running = said["case"] + 1, None
                yield said
        worker.wait()
        errors = worker.stderr.read().decode(errors="replace")[-300:]
        if running is not None:
            how = killed[0] if killed else f"the worker ended ({worker.returncode}): {errors}"
            yield {"case": running, "target": "?", "sort": "?", "cpu": LIMIT, "rss": 0,
                   "came": "hang" if killed else "died", "how": how}  # fmt: skip
            number = running + 1
        elif number < last and worker.returncode:
            raise RuntimeError(f"no worker can be begun: {errors}")


GOOD = ("taken", "told", "refused")


def total(chunks: list[dict[str, Any]]) -> dict[str, Any]:
    """All chunks of a run together."""
    came: Counter[str] = Counter()
    sorts: Counter[str] = Counter()
    for chunk in chunks:
        came.update(chunk["came"])
        sorts.update(chunk["sorts"])
    return {
        "cases": sum(c["cases"] for c in chunks),
        "sorts": dict(sorts),
        "came": dict(came),
        "slowest": max((c["slowest"] for c in chunks), default=[0.0, None, None]),
        "most_memory_mb": max((c["rss"] for c in chunks), default=0),
        "found": [f for c in chunks for f in c["found"]],
    }


def run(cases: int, seed: int, only: list[str], out: Path) -> dict[str, Any]:
    """Run what is left of the cases; a line for each chunk goes to `out`."""
    head = {"seed": seed, "only": only}
    chunks: list[dict[str, Any]] = []
    if out.exists():
        rows = [json.loads(line) for line in out.read_text().splitlines() if line.endswith("}")]
        if not rows or rows[0] != head:
            raise SystemExit(f"{out} is of another run; name another file, or move it away")
        chunks = rows[1:]
    else:
        out.write_text(json.dumps(head) + "\n")
    number = sum(c["cases"] for c in chunks)
    chunk: dict[str, Any] = {}
    began = time.monotonic()
    for done, found in enumerate(watched(number, cases, seed, only), 1):
        if not chunk:
            chunk = {"from": found["case"], "cases": 0, "came": Counter(), "sorts": Counter(),
                     "slowest": [0.0, None, None], "rss": 0, "found": []}  # fmt: skip
        chunk["cases"] += 1
        chunk["came"][found["came"]] += 1
        chunk["sorts"][found["sort"]] += 1
        chunk["rss"] = max(chunk["rss"], found["rss"])
        if found["cpu"] > chunk["slowest"][0]:
            chunk["slowest"] = [found["cpu"], found["case"], found["target"]]
        if found["came"] not in GOOD:
            chunk["found"].append(found)
            print(json.dumps(found), file=sys.stderr, flush=True)
        if chunk["cases"] == CHUNK or found["case"] == cases - 1:
            with out.open("a") as file:
                file.write(json.dumps(chunk) + "\n")
            chunks.append(chunk)
            chunk = {}
            rate = done / (time.monotonic() - began)
            words = f"{found['case'] + 1} of {cases}, {rate:.0f} a second"
            print(words, file=sys.stderr, flush=True)
    return total(chunks)


def main() -> int:
    """Run, resume, repeat one case, or list."""
    raw = argparse.RawTextHelpFormatter
    take = argparse.ArgumentParser(description=__doc__, formatter_class=raw)
    take.add_argument("--cases", type=int, default=100_000)
    take.add_argument("--seed", type=int, default=8)
    take.add_argument("--only", action="append", default=[])
    take.add_argument("--out", type=Path, default=Path("fuzz.jsonl"))
    take.add_argument("--case", type=int)
    take.add_argument("--list", action="store_true")
    take.add_argument("--json", action="store_true")
    take.add_argument("--work", type=int, nargs=2, help=argparse.SUPPRESS)
    said = take.parse_args()
    if said.work:
        return work(*said.work, said.seed, said.only)
    if said.list:
        print("\n".join(f"{t.sort:8} {t.name}" for t in targets().all.values()))
        return 0
    if said.case is not None:
        with tempfile.TemporaryDirectory() as folder:
            found = run_case(said.case, said.seed, said.only, Path(folder), None)
        print(json.dumps(found, indent=1))
        return int(found["came"] not in GOOD)
    found = run(said.cases, said.seed, said.only, said.out)
    if said.json:
        print(json.dumps(found, indent=1))
    else:
        print(f"{found['cases']} cases {found['sorts']}: {found['came']}")
        print(f"slowest {found['slowest']}, most memory {found['most_memory_mb']} MB")
    return int(bool(found["found"]))


if __name__ == "__main__":
    sys.exit(main())
