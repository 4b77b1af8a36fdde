"""What the first run on a fresh install compiles, and what each piece costs.

    python benchmarks/compile_time.py [--json]

Compiles into an empty folder and prints processor seconds (the compiler uses one core, so on an
idle machine they are what one waits), each as a share of the whole, and how often each function was
specialised: more than once means a call passes a bare True, False or number, which the compiler
takes as a type of its own.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
from collections.abc import Callable

os.environ["NUMBA_CACHE_DIR"] = tempfile.mkdtemp(prefix="halfsplit-compile-")

from halfsplit.circuit import elements as el
from halfsplit.circuit.cycle import mains_cycle
from halfsplit.circuit.follow import follow
from halfsplit.circuit.heat import element_watts
from halfsplit.circuit.netlist import Netlist
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.sensitivity import Move, sensitivities
from halfsplit.circuit.topology import compile_netlist


def main() -> None:
    """Compile every kernel once, in the order a session asks for them."""
    net = Netlist()
    net.add(
        el.Source("S", ("a", "com"), {"dc": 1.0, "g": 1.0}),
        el.Resistor("R", ("a", "com"), {"g": 1.0}),
    )
    top = compile_netlist(net)
    rows = top.rows([{}])
    moves = [Move("R value", {("R", "g"): 1.1})]
    spent: dict[str, float] = {}

    def timed(name: str, work: Callable[[], object]) -> None:
        begin = time.process_time()
        work()
        spent[name] = time.process_time() - begin

    timed("operating point", lambda: operating_point(top, rows))
    solved = operating_point(top, rows)
    timed("sensitivities", lambda: sensitivities(top, rows, solved.mean, solved.latched, moves))
    timed("mains cycle", lambda: mains_cycle(top, rows, 50.0))
    timed("follow", lambda: follow(top, rows))
    timed("watts", lambda: element_watts(top, rows, solved.mean, solved.latched))
    whole = sum(spent.values())
    if "--json" in sys.argv:
        print(json.dumps({"seconds": spent, "whole": whole}))
        return
    for name, seconds in spent.items():
        print(f"{name}: {seconds:.1f} s, {seconds / whole:.0%}")
    print(f"whole: {whole:.1f} s")

    from halfsplit.circuit import compiled_op, kernel, stamps

    for module in (stamps, kernel, compiled_op):
        for name, function in vars(module).items():
            if getattr(function, "__module__", "") == module.__name__ and getattr(
                function, "signatures", None
            ):
                print(f"{name}: specialised {len(function.signatures)} times")


if __name__ == "__main__":
    main()
