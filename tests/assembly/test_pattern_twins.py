"""The demos typed from patterns: the same parts, hence the same readings, in fewer lines.

Nets nobody put a name to in the typed twin have names of their own there; everything else is
compared as it is.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.file import load
from halfsplit.assembly.lower import Machine
from halfsplit.assembly.model import Assembly
from halfsplit.circuit.op import operating_point
from halfsplit.faults.hypotheses import single_faults
from halfsplit.faults.kept_under import table_folder

EXAMPLES = Path(__file__).parents[2] / "examples"
TYPED = Path(__file__).parents[1] / "files" / "by-pattern"
DEMOS = {"pt3": "hd40/pt3.yaml", "ob8": "stile17/ob8.yaml", "supply": "type88/supply.yaml"}
MOST_LINES = 0.60


def read(path: Path) -> Assembly:
    found, problems = load(path)
    assert found is not None, problems
    assert problems == []
    return found


def pair(name: str) -> tuple[Assembly, Assembly]:
    return read(EXAMPLES / DEMOS[name]), read(TYPED / f"{name}.yaml")


def lines(path: Path) -> list[str]:
    """Lines with something on them that is no comment."""
    listed = path.read_text(encoding="utf-8").splitlines()
    return [line for line in listed if line.strip() and not line.strip().startswith("#")]


def names(plain: Assembly, twin: Assembly) -> dict[str, str]:
    """Net of the plain file -> of the twin, terminal by terminal; one to one."""
    found: dict[str, str] = {}
    for ref, part in plain.parts.items():
        other = twin.parts[ref].terminals()
        assert part.terminals().keys() == other.keys(), ref
        for terminal, net in part.terminals().items():
            assert found.setdefault(net, other[terminal]) == other[terminal], f"{ref} {terminal}"
    assert len(set(found.values())) == len(found)
    return found


def renamed(value: Any, nets: dict[str, str], terminals: frozenset[str]) -> Any:
    """A part's fields with its nets by the twin's names."""
    if isinstance(value, dict):
        ends = terminals | {"start", "end"}
        return {
            k: nets[v] if k in ends and v is not None else renamed(v, nets, frozenset())
            for k, v in value.items()
        }
    return value


def as_named(plain: Assembly, nets: dict[str, str]) -> Assembly:
    """The plain assembly with the twin's names for nets."""
    parts = {}
    for ref, part in plain.parts.items():
        ends = frozenset(t if t != "in" else "in_" for t in part.TERMINALS)
        fields = renamed(part.model_dump(), nets, ends)
        parts[ref] = part.model_copy(update={k: v for k, v in fields.items() if k in ends})
        if "windings" in fields:
            made = {
                n: w.model_copy(update=fields["windings"][n])
                for n, w in part.__dict__["windings"].items()
            }
            parts[ref] = part.model_copy(update={"windings": made})
    return replace(plain, parts=parts)


@pytest.mark.parametrize("name", DEMOS)
def test_every_part_is_the_same_field_by_field(name: str) -> None:
    plain, twin = pair(name)
    assert set(plain.parts) == set(twin.parts)
    nets = names(plain, twin)
    spoken = [*(r.net for r in plain.rails.values()), *(p.net for p in plain.points.values())]
    spoken += [n for nets_ in plain.loads.values() for n in nets_]
    spoken += [n for feed in plain.feeds.values() for n in feed.nets]
    assert all(nets[n] == n for n in spoken)
    for ref, part in as_named(plain, nets).parts.items():
        assert part.model_dump() == twin.parts[ref].model_dump(), ref
        assert part.KIND == twin.parts[ref].KIND


@pytest.mark.parametrize("name", DEMOS)
def test_everything_else_in_the_file_is_the_same(name: str) -> None:
    plain, twin = pair(name)
    for part in ("name", "machine", "common", "rails", "points", "feeds", "loads", "mains"):
        assert getattr(plain, part) == getattr(twin, part), part
    assert (plain.notes, plain.layout, plain.leans) == (twin.notes, twin.layout, twin.leans)


@pytest.mark.parametrize("name", DEMOS)
def test_what_the_solver_is_given_is_the_same_byte_for_byte(name: str) -> None:
    """With the twin's parts in the plain file's order: circuit, values of every feed and load, and
    every single fault. What is solved from that is the same, healthy and faulty."""
    plain, twin = pair(name)
    first = Machine(as_named(plain, names(plain, twin)))
    second = Machine(replace(twin, parts={ref: twin.parts[ref] for ref in plain.parts}))
    faults = [[h.changes for h in single_faults(m.assembly)] for m in (first, second)]
    assert len(faults[0]) > 100
    for feed in plain.feeds:
        for load_ in plain.loads:
            at = Condition(feed, load_)
            told = [table_folder(m, at, f) for m, f in zip((first, second), faults, strict=True)]
            assert told[0] == told[1]


def test_the_tray_solved_in_the_twins_own_order_reads_the_same() -> None:
    plain, twin = pair("pt3")
    nets = names(plain, twin)
    solved = []
    for assembly in (plain, twin):
        machine = Machine(assembly)
        rows = [machine.values(Condition("raws", load_)) for load_ in plain.loads]
        row = operating_point(machine.topology, machine.topology.rows(rows))
        assert np.isfinite(row.mean).all()
        solved.append({n: row.mean[:, i] for n, i in machine.topology.net_index.items()})
    for net, other in nets.items():
        if net != plain.common and net in solved[0]:
            assert solved[1][other] == pytest.approx(solved[0][net], abs=2e-6), net
    assert solved[0]["n12"][0] == pytest.approx(-12.0, abs=0.1)


@pytest.mark.parametrize("name", DEMOS)
def test_patterns_take_at_most_six_tenths_of_the_lines(name: str) -> None:
    """Lines with something on them, and none of them longer than the longest of a plain file."""
    plain = lines(EXAMPLES / DEMOS[name])
    typed = lines(TYPED / f"{name}.yaml")
    assert len(typed) <= MOST_LINES * len(plain), (len(typed), len(plain))
    longest = max(len(line) for demo in DEMOS.values() for line in lines(EXAMPLES / demo))
    assert max(map(len, typed)) <= longest
    assert sum(map(len, typed)) <= 0.75 * sum(map(len, plain))
