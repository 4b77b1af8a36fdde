"""Compiled code that stands apart: called by name, from the disk of an earlier run too."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np

from halfsplit.circuit import KERNEL_DIGEST
from halfsplit.circuit.apart import jit_apart, jit_within
from halfsplit.circuit.jit import jit

VECTOR = np.zeros(0)


@jit_within(0.0)
def half(value: Any) -> Any:
    return 0.5 * value


@jit_apart(VECTOR, 0, 0.0)
def scaled(values: Any, at: Any, by: Any) -> Any:
    """Changes an entry in place and returns it with its place; calls what stands above."""
    values[at] *= half(by)
    return values[at], at


@jit
def caller(values: Any, by: Any) -> Any:
    value, at = scaled(values, 1, by)
    again, _ = scaled(values, 1, 2)  # a whole number, where a real one is asked for
    return value + again + at


def test_a_function_apart_gets_its_arguments_and_hands_back_what_it_found() -> None:
    values = np.array([3.0, 5.0, 7.0])
    assert caller(values, 8.0) == 20.0 + 20.0 + 1
    assert values.tolist() == [3.0, 20.0, 7.0]


SOLVE = """
import numpy as np
from halfsplit.circuit import apart, elements as el
from halfsplit.circuit.netlist import Netlist
from halfsplit.circuit.op import operating_point
from halfsplit.circuit.topology import compile_netlist
net = Netlist("com")
net.add(el.Source("S", ("a", "com"), {"dc": 6.0, "g": 1.0}))
net.add(el.Resistor("R", ("a", "com"), {"g": 1.0}))
top = compile_netlist(net)
found = operating_point(top, top.rows([{}])).mean[0, 0]
from halfsplit.circuit.compiled_op import solve_rows
stats = [d.stats for d in (*apart._held, solve_rows)]
print(round(found, 6), sum(sum(s.cache_hits.values()) for s in stats) > 8)
print(sum(sum(s.cache_misses.values()) for s in stats))
"""


def run(code: str, **more: str) -> list[str]:
    """Words printed by a process of its own."""
    env = {**os.environ, **more}
    done = subprocess.run(
        [sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True
    )
    return done.stdout.split()


def test_another_process_compiles_nothing_again() -> None:
    run(SOLVE)
    assert run(SOLVE) == ["3.0", "True", "0"]


def test_a_cache_the_user_names_is_kept_apart_by_state_too(tmp_path: Path) -> None:
    code = "import os, halfsplit.circuit; print(os.environ['NUMBA_CACHE_DIR'])"
    (named,) = run(code, NUMBA_CACHE_DIR=str(tmp_path))
    assert Path(named) == tmp_path / "compiled" / KERNEL_DIGEST
    assert run(code, NUMBA_CACHE_DIR=named) == [named]


TOLD = """
from halfsplit.circuit import needs, when_compiling
when_compiling(lambda: print("told"))
needs("compiled_op.solve_rows")
needs("compiled_op.solve_rows")
"""


def test_who_listens_is_told_once_before_compiling_and_not_when_it_was_done(tmp_path: Path) -> None:
    run(SOLVE)
    assert run(TOLD) == []
    assert run(TOLD, NUMBA_CACHE_DIR=str(tmp_path)) == ["told"]
