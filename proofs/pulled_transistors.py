"""Each transistor of the first two demo machines out in turn: what ngspice puts over a rating, what
the power check names, missed and false alarms.

    python proofs/pulled_transistors.py

Two minutes; ngspice runs live. Exit code 1 if a part is missed.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tests.simulator import test_power as bench
from tests.simulator import tray

from halfsplit.assembly.condition import Change, Condition
from halfsplit.bringup.power import power_check

SWITCHER = ("Q1", "Q2", "Q3", "Q4")


def tray_case(ref: str, load: str) -> tuple[dict[str, float], dict[str, float]]:
    """Ratios over ratings of the tray with a transistor out, by ngspice and by ours."""
    machine = tray.tray()
    at = Condition("raws", load, (Change(ref, "removed"),))
    truth = bench._by_ngspice(machine, at, bench._tray_powers("", at))
    check = power_check(machine, at, propose=False)
    ours: dict[str, float] = {}
    for f in check.findings:
        ours[f.part] = max(ours.get(f.part, 0.0), f.ratio)
    return truth, ours


def main() -> int:
    """Print every part over a rating by either, and the count."""
    cases = [("tray", r, load) for load in ("none", "full") for r in bench.TRANSISTORS_1]
    cases += [("switcher", r, "full") for r in SWITCHER]
    named, missed, alarms = 0, [], []
    for which, ref, load in cases:
        truth, ours = (tray_case if which == "tray" else bench.over_by_ngspice)(ref, load)
        over = {p: r for p, r in truth.items() if r > 1.0}
        said = {p: r for p, r in ours.items() if r > 1.0}
        for part in sorted({*over, *said}):
            theirs, mine = over.get(part, float("nan")), said.get(part, float("nan"))
            print(f"{which} {ref} out, {load}: {part} {theirs:.2f} by ngspice, {mine:.2f} by ours")
        named += len(over)
        missed += [f"{which} {ref} out, {load}: {p}" for p in sorted(over.keys() - said.keys())]
        alarms += [f"{which} {ref} out, {load}: {p}" for p in sorted(said.keys() - over.keys())]
    print(f"{len(cases)} cases, {named} parts over a rating by ngspice")
    print(f"missed {len(missed)}: {'; '.join(missed) or 'none'}")
    print(f"false alarms {len(alarms)}: {'; '.join(alarms) or 'none'}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
