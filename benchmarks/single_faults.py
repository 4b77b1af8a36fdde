"""The demo tray, ours against ngspice: all single faults, the mains cycle, ten thousand pairs.

    python benchmarks/single_faults.py [--json]

Quote the ratios, not the seconds: both sides run one after the other in this one process, the first
round of ours, which compiles, is not counted. Ratios are of the clock on the wall, ours on all
cores; on a busy machine look at those of the processor, all threads of ours together. "One process
a deck" starts ngspice for every fault; "held" is a single ngspice process that reads each deck in
turn and starts from the healthy volts.
"""

from __future__ import annotations

import json
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import deck, tray

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Status
from halfsplit.faults.hypotheses import single_faults

NETS = ["n12", "p12", "p5"]
PAIRS = 10_000
SEED = 20261125


class Watch:
    """Seconds since it was made: on the wall, and of the processor, threads and children."""

    def __init__(self) -> None:
        self._begin = self._now()

    @staticmethod
    def _now() -> tuple[float, float]:
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return time.perf_counter(), time.process_time() + used.ru_utime + used.ru_stime

    def both(self) -> np.ndarray:
        """Wall and processor seconds (2)."""
        return np.array(self._now()) - np.array(self._begin)


def ratios(name: str, theirs: np.ndarray, ours: np.ndarray) -> dict[str, float]:
    """Their time over ours, on the wall and of the processor."""
    wall, processor = theirs / ours
    return {f"ratio_{name}": round(wall, 1), f"ratio_{name}_processor": round(processor, 1)}


def held(decks: list[deck.Deck], guess: dict[str, float], asked: str = "p5") -> float:
    """Seconds one ngspice process takes to read and solve every deck and print one net of each."""
    with tempfile.TemporaryDirectory() as folder:
        names = []
        for k, written in enumerate(decks):
            pairs = " ".join(f"v({written.net(n)})={v:.6g}" for n, v in guess.items())
            text = ["fault", *written.lines, f".nodeset {pairs}"]
            text += [".options gmin=1e-12 reltol=1e-5 abstol=1e-11 vntol=1e-7", ".end", ""]
            names.append(Path(folder) / f"d{k}.cir")
            names[-1].write_text("\n".join(text))
        control = ["all", ".control"]
        for name in names:
            control += [f"source {name}", "op", f"print v(n_{asked})", "remcirc", "destroy all"]
        (Path(folder) / "all.cir").write_text("\n".join([*control, "quit", ".endc", ".end", ""]))
        begin = time.perf_counter()
        subprocess.run(
            [str(deck.NGSPICE), "-b", str(Path(folder) / "all.cir")],
            capture_output=True,
            check=False,
        )
        return time.perf_counter() - begin


def singles() -> dict[str, Any]:
    """Operating points of every single fault at half load, from the raw rails."""
    top = tray.tray().topology
    faults = single_faults(tray.tray().assembly)[2:]
    state = tray.tray().values(Condition("raws", "half"))
    rows = top.rows([{**h.changes, **state} for h in faults])
    start = operating_point(top, top.rows([state])).mean[0]
    solved = operating_point(top, rows, start)
    watch = Watch()
    for _ in range(20):
        solved = operating_point(top, rows, start)
    ours = watch.both() / 20
    decks = [
        deck.write(top, {**h.changes, **state}, open_lead=tray.open_lead(h.name)) for h in faults
    ]
    watch = Watch()
    failed = sum(deck.operating_point(written, NETS) is None for written in decks)
    theirs = watch.both()
    guess = dict(zip(top.nets, start.tolist(), strict=True))
    watch = Watch()
    held(decks, guess)
    one = watch.both()
    return {
        "faults": len(faults),
        "unsolved_ours": int((solved.status == Status.UNSOLVED).sum()),
        "unsolved_ngspice": failed,
        "ms_a_fault_ours": round(1e3 * ours[0] / len(faults), 4),
        "ms_a_fault_ngspice_one_process_a_deck": round(1e3 * theirs[0] / len(faults), 3),
        "ms_a_fault_ngspice_held_warm": round(1e3 * one[0] / len(faults), 3),
        **ratios("one_process_a_deck", theirs, ours),
        **ratios("held_warm", one, ours),
    }


def pairs() -> dict[str, Any]:
    """Ten thousand random pairs of faults of different parts at the operating point."""
    machine = tray.tray()
    top = machine.topology
    faults = single_faults(machine.assembly)[2:]
    state = machine.values(Condition("raws", "half"))
    draw = random.Random(SEED)
    laid = []
    while len(laid) < PAIRS:
        a, b = draw.sample(faults, 2)
        if set(a.parts).isdisjoint(b.parts):
            laid.append({**a.changes, **b.changes, **state})
    rows = top.rows(laid)
    start = operating_point(top, top.rows([state])).mean[0]
    watch = Watch()
    solved = operating_point(top, rows, start)
    took, processor = watch.both()
    unsolved = int((solved.status == Status.UNSOLVED).sum())
    return {
        "pairs": PAIRS,
        "pairs_seconds": round(took, 2),
        "pairs_processor_seconds": round(processor, 2),
        "pairs_unsolved": unsolved,
        "pairs_worst_residual_amps": float(np.max(solved.residual[np.isfinite(solved.residual)])),
        "row_bytes": int(rows.nbytes / PAIRS),
    }


def cycle() -> dict[str, Any]:
    """Mains cycle from switch-on: one healthy row, and every single fault."""
    machine = tray.tray()
    top = machine.topology
    state = machine.values(Condition("mains", "half", tray.NO_CROWBAR))
    row = top.rows([state])
    mains_cycle(top, row, 50.0)
    watch = Watch()
    for _ in range(10):
        mains_cycle(top, row, 50.0)
    one = watch.both() / 10
    written = deck.write(top, state, closed=frozenset({"K1:contact"}), transient=True)
    watch = Watch()
    deck.mains_cycle(written, NETS, 50.0, settle=0.3)
    theirs = watch.both()
    faults = single_faults(machine.assembly)[2:]
    rows = top.rows([{**h.changes, **state} for h in faults])
    watch = Watch()
    solved = mains_cycle(top, rows, 50.0)
    every = watch.both()
    return {
        **ratios("mains_cycle", theirs, one),
        **ratios("mains_cycle_batch_a_fault", theirs, every / len(faults)),
        "mains_cycle_unsolved": int((solved.status == Status.UNSOLVED).sum()),
        "mains_cycle_unsettled": int((solved.status == Status.NOT_SETTLED).sum()),
    }


def main() -> int:
    """Print rows solved and the ratios."""
    result = singles() | pairs() | cycle()
    if "--json" in sys.argv:
        print(json.dumps(result))
    else:
        for name, value in result.items():
            print(f"{name}: {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
