"""In words, what makes one node lean on another: the part between them and the job it does."""

from __future__ import annotations

from collections.abc import Sequence

from halfsplit.assembly.lower import Machine
from halfsplit.parts.base import Part
from halfsplit.parts.block import BlockPart

TRANSISTORS = ("npn", "pnp")


def linking(
    machine: Machine, kinds: dict[str, str], nets: dict[str, str], of: str, on: str
) -> list[Part]:
    """Parts with a lead on `on` from which `of` is reached without crossing another node."""
    joints = {n for k, n in nets.items() if kinds[k] != "signal"} | {machine.assembly.common}
    found = _paths(machine, nets[on], nets[of], joints)
    if kinds[of] != "signal":  # a contact hands on what it is given, it makes no rail right
        found = [p for p in found if p.KIND != "relay"]
    return found


def link_words(
    machine: Machine,
    kinds: dict[str, str],
    nets: dict[str, str],
    on: str,
    parts: Sequence[Part],
) -> str:
    """Such as "tail current by R18"."""
    if kinds[on] == "raw":
        return "power" + (f" through {parts[0].ref}" if parts else "")
    words = list(dict.fromkeys(_role(machine, p, nets[on], kinds[on]) for p in parts))
    return "; ".join(words[:3]) if words else "through the circuit"


def _paths(machine: Machine, start: str, goal: str, joints: set[str]) -> list[Part]:
    """Parts with a lead on `start` from which `goal` is reached without crossing another node."""
    parts = list(machine.assembly.parts.values())
    common = machine.assembly.common
    found = []
    for part in parts:
        ends = set(part.terminals().values())
        if start not in ends:
            continue
        seen = ends - {start}
        queue = [n for n in seen if n not in joints]
        reached = set(queue)
        hit = goal in ends
        while queue and not hit:
            net = queue.pop()
            for other in parts:
                nets = set(other.terminals().values())
                if net not in nets or other is part:
                    continue
                if goal in nets:
                    hit = True
                    break
                fresh = {n for n in nets if n not in reached and n not in joints and n != common}
                reached |= fresh
                queue += fresh
        if hit:
            found.append(part)
    return found


def _role(machine: Machine, part: Part, start: str, kind: str) -> str:
    """The job of one part between the node `start` and the circuit beyond it."""
    others = [n for n in part.terminals().values() if n != start]
    sits = [
        (p, t)
        for p in machine.assembly.parts.values()
        for t, n in p.terminals().items()
        if n in others and p is not part and p.KIND in TRANSISTORS
    ]
    ref = part.ref
    if isinstance(part, BlockPart):
        return f"{ref} follows it" if part.follows == start else f"{ref} needs it"
    if part.KIND == "relay":
        return f"relay {ref}"
    if part.KIND in ("zener", "diode", "rectifier", "scr"):
        return f"clamp {ref}"
    if part.KIND in TRANSISTORS:
        lead = next(t for t, n in part.terminals().items() if n == start)
        return {
            "b": f"base of {ref} compares with it",
            "c": f"supply of {ref}",
            "e": f"emitter of {ref} stands on it",
        }[lead]
    if part.KIND in ("opamp", "comparator"):
        lead = next(t for t, n in part.terminals().items() if n == start)
        supply = lead in ("vpos", "vneg")
        return f"supply of {ref}" if supply else f"{ref} compares with it"
    if part.KIND in ("wire", "trace", "connector"):
        return f"sense lead {ref}"
    emitters = {p.ref for p, t in sits if t == "e"}
    if len(emitters) >= 2:
        return f"tail current by {ref}"
    drives = {t for _, t in sits}
    if part.KIND == "resistor" and "b" in drives and "c" in drives:
        return f"base drive by {ref}"
    if "b" in drives or kind == "reference":
        return f"reference by {ref}"
    return f"by {ref}"
