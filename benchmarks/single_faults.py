"""All single faults of the demo tray at one load: ours against one ngspice process a deck.

    python benchmarks/single_faults.py [--json]

Both sides run in this one process, alternating is not needed as each side is timed over all decks;
quote the ratio, not the seconds. The first round of ours, which compiles, is not counted.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import deck, tray

from halfsplit.assembly.condition import Condition
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.solution import Status
from halfsplit.faults.hypotheses import single_faults

NETS = ["n12", "p12", "p5"]


def main() -> int:
    """Print rows solved and the ratios."""
    machine = tray.tray()
    top = machine.topology
    faults = single_faults(machine.assembly)[2:]
    state = machine.values(Condition("raws", "half"))
    rows = top.rows([{**h.changes, **state} for h in faults])
    start = operating_point(top, top.rows([state])).mean[0]
    solved = operating_point(top, rows, start)
    begin = time.perf_counter()
    for _ in range(10):
        solved = operating_point(top, rows, start)
    ours = (time.perf_counter() - begin) / 10

    begin = time.perf_counter()
    failed = 0
    for h in faults:
        written = deck.write(top, {**h.changes, **state}, open_lead=tray.open_lead(h.name))
        failed += deck.operating_point(written, NETS) is None
    theirs = time.perf_counter() - begin

    state = machine.values(Condition("mains", "half", tray.NO_CROWBAR))
    row = top.rows([state])
    mains_cycle(top, row, 50.0)
    begin = time.perf_counter()
    mains_cycle(top, row, 50.0)
    cycle_ours = time.perf_counter() - begin
    written = deck.write(top, state, closed=frozenset({"K1:contact"}), transient=True)
    begin = time.perf_counter()
    deck.mains_cycle(written, NETS, 50.0, settle=0.3)
    cycle_theirs = time.perf_counter() - begin

    result = {
        "faults": len(faults),
        "unsolved_ours": int((solved.status == Status.UNSOLVED).sum()),
        "unsolved_ngspice": failed,
        "operating_point_ratio": round(theirs / ours, 1),
        "operating_point_ms_a_fault": round(1e3 * ours / len(faults), 4),
        "mains_cycle_ratio": round(cycle_theirs / cycle_ours, 1),
    }
    if "--json" in sys.argv:
        print(json.dumps(result))
    else:
        for name, value in result.items():
            print(f"{name}: {value}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
