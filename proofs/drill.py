"""The planner against ngspice: simulated machines with faults, tolerances, meter error and slips.

    python proofs/drill.py [MACHINE] [KINDS] [CASES] [SEED] [SLIPS PERCENT] [--json FILE]

MACHINE is hd40 (feed raws, starting at bench load) or another listed below. The bench behind the
readings is ngspice, so the planner is not judged by its own solver; the same drill with our own
engine is the command `halfsplit drill`.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.simulator.drill_bench import NgspiceBench  # noqa: E402

from halfsplit.assembly.condition import Condition  # noqa: E402
from halfsplit.bench.drill import Played, prepared, run, score  # noqa: E402
from halfsplit.bench.drill_bench import Case  # noqa: E402
from halfsplit.bench.session import Session  # noqa: E402

MACHINES = {
    "hd40": (ROOT / "examples" / "hd40" / "pt3.yaml", Condition("raws", "bench")),
}


def drill(
    name: str, kinds: list[str], count: int, seed: int, slips: float = 0.0, told: bool = False
) -> tuple[list[Played], int]:
    """Play `count` cases; returns how each went and how often ngspice gave no reading."""
    example, start = MACHINES[name]
    folder = Path(tempfile.mkdtemp(prefix="drill"))  # no journal beside the examples
    file = Path(shutil.copy(example, folder / example.name))
    benches: list[NgspiceBench] = []
    with Session(file) as session:
        session.within_reach = frozenset((start.feed,))
        cases = prepared(session, start, kinds, count, seed)
        machine = session.machine

    def make(_: Session, case: Case) -> NgspiceBench:
        benches.append(NgspiceBench(machine, case, slips))
        return benches[-1]

    def tell(p: Played) -> None:
        if told:
            mark = "ok " if p.top else "3rd" if p.third else "BAD"
            print(mark, p.case.name, p.first_checks, p.checks, p.claimed, p.right, flush=True)

    played = run(file, cases, start, make, feeds=(start.feed,), each=tell)
    return played, sum(b.failed for b in benches)


def main() -> None:
    words = sys.argv[1:]
    if "--json" in words:
        words = words[: words.index("--json")]
    name, kinds, count, seed, slips = (*words, *("hd40", "single", "20", "1", "0")[len(words) :])[
        :5
    ]
    played, failed = drill(name, kinds.split(","), int(count), int(seed), float(slips) / 100, True)
    found = {"table": score(played), "without_reading": failed, "seed": int(seed)}
    print(json.dumps(found, indent=1))
    if "--json" in sys.argv:
        out = Path(sys.argv[sys.argv.index("--json") + 1])
        out.write_text(json.dumps({**found, "cases": [p.as_dict() for p in played]}, indent=1))


if __name__ == "__main__":
    main()
