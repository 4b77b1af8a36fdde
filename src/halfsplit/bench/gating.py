"""Gates of a machine on the bench: proofs from its journal, overrides kept in it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Change, Condition, find_part, parse_change
from halfsplit.assembly.lower import Machine
from halfsplit.bench.handed import since_handed
from halfsplit.bench.ledger import overridden as overridden
from halfsplit.bench.noting import Noter
from halfsplit.bench.recall import condition_of
from halfsplit.bench.session import Session
from halfsplit.bringup.gates import Gate, Known, Subject, gates, refusals
from halfsplit.bringup.leans import LeansMap, leans
from halfsplit.bringup.proof import Proof, proofs
from halfsplit.faults.dictionary import predict
from halfsplit.faults.kept_under import table_folder
from halfsplit.faults.store import load_arrays, store_arrays
from halfsplit.journal import Entry
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import QuantityError, parse

TURNED = ("set", "turned", "put-back", "restored", "back")  # verbs that may move a trimmer
# What is done with an iron or a screwdriver, and signs that say a part was looked at afterwards.
HANDLED = ("fitted", "removed", "lifted", "bypassed")
LOOKED = ("as-drawn", "not-as-drawn", "burnt", "blown", "bulged", "cracked")
SHORTEST = 8  # letters of a reason somebody could later make sense of


def known(bench: Session) -> Known:
    """What the journal says that gates ask for."""
    drawn: set[str] = set()
    disturbed: set[str] = set()
    trips: dict[str, float] = {}
    doubted: dict[str, tuple[str, ...]] = {}
    overrides: dict[str, str] = {}
    stood: dict[str, frozenset[Change]] = {}  # what was fitted around the crowbar at its test
    crowbar, changes = _around_gates(bench), frozenset[Change]()
    before: tuple[Change, ...] = ()
    reached: dict[str, str] = {}  # part that sits beside one worked on -> that one
    elsewhere = since_handed(bench.entries)
    for e in bench.entries:
        if e.seq <= elsewhere and e.kind not in ("condition", "observe", "disturbed"):
            continue  # proofs and overrides of another bench open nothing on this one
        if e.kind == "condition":
            done = condition_of(bench.assembly, e).changes
            changes = frozenset(c for c in done if c.part in crowbar)
            for c in set(done) ^ set(before):
                if c.what in HANDLED:
                    reached |= dict.fromkeys(bench.assembly.beside(c.part), c.part)
            before = done
        if (e.kind == "observe" and e.body.get("sign") in LOOKED) or e.kind == "prove":
            reached.pop(e.body["part"], None)
        if e.kind == "observe" and e.body.get("sign") == "as-drawn":
            if e.seq <= elsewhere:
                continue
            drawn.add(e.body["part"])
        elif e.kind == "observe" and e.body.get("found"):
            drawn.discard(e.body["part"])
        elif e.kind == "disturbed":
            disturbed |= set(e.body["parts"])
        elif e.kind == "prove" and e.body["good"]:
            disturbed.discard(e.body["part"])
        elif e.kind == "trip":
            trips[e.body["rail"]] = float(e.body["volts"])
            doubted.pop(e.body["rail"], None)
            stood[e.body["rail"]] = changes
        elif e.kind == "protect" and e.body.get("test") == "crowbar":
            rail, fired = e.body["rail"], [float(v) for v in e.body["volts"]]
            middle = sum(fired) / len(fired)
            trips[rail] = max(fired, key=lambda v: abs(v - middle))
            doubted[rail], stood[rail] = tuple(e.body["reasons"]), changes
        elif e.kind == "override":
            overrides[e.body["gate"]] = e.body["why"]
    for rail, then in stood.items():
        since = sorted({c.part for c in changes ^ then})
        if since:
            doubted[rail] = (*doubted.get(rail, ()), f"{', '.join(since)} changed since that test")
    fitted = bench.condition.fitted
    otherwise = {k: v for k, v in bench.found_values().items() if k not in drawn}
    moved = frozenset(disturbed - fitted)
    beside = {ref: of for ref, of in reached.items() if ref not in fitted}
    return Known(frozenset(drawn), otherwise, trips, doubted, moved, overrides, beside)


def _around_gates(bench: Session) -> frozenset[str]:
    """Thyristors and every part on their gates: what decides where a crowbar trips."""
    parts = bench.assembly.parts
    gates_ = {p.terminals()["g"] for p in parts.values() if p.KIND == "scr"}
    return frozenset(r for r, p in parts.items() if gates_ & {*p.terminals().values()})


def map_of(bench: Session) -> LeansMap:
    """The leans-on map of the machine as drawn."""
    return leans(bench.machine, progress=bench.progress)


def proofs_of(bench: Session) -> dict[str, Proof]:
    """Every rail, raw rail and reference: proved or what is missing."""

    @lru_cache(maxsize=64)
    def usual(condition: Condition) -> dict[str, float]:
        return _usual(bench.machine, condition)

    def expected(condition: Condition, net: str) -> float:
        return usual(condition)[net]

    since = since_handed(bench.entries)
    here = [e for e in bench.evidence() if e.number > since]
    return proofs(bench.assembly, map_of(bench), here, bench.condition, expected)


def _usual(machine: Machine, condition: Condition) -> dict[str, float]:
    """Mean volts of every net of the healthy machine; kept on disk where it is followed from
    switch-on, which takes seconds each time."""
    path = table_folder(machine, condition, [{}], "usual") / "usual.npz"
    kept = load_arrays(path) if machine.self_oscillating else None
    if kept is None or not {"nets", "mean"} <= set(kept):
        table = predict(machine, condition, [{}], moves=[])
        kept = {"nets": np.array(table.nets), "mean": table.mean[0]}
        if machine.self_oscillating:
            store_arrays(path, kept)
    found = {str(n): float(v) for n, v in zip(kept["nets"], kept["mean"], strict=False)}
    return found | {machine.assembly.common: 0.0}


def gates_of(bench: Session, proved: Mapping[str, Proof] | None = None) -> list[Gate]:
    """Every gate with its state; `proved` where it is known already."""
    proved = proofs_of(bench) if proved is None else proved
    return gates(bench.assembly, map_of(bench), proved, bench.condition, known(bench))


def gate_dict(bench: Session) -> dict[str, Any]:
    """Gates, and what each subject is refused for."""
    proved = proofs_of(bench)
    found = gates_of(bench, proved)
    subjects: tuple[Subject, ...] = ("power", "boards", "trimmers")
    return {
        "gates": [g.as_dict() for g in found],
        "refused": {s: [g.name for g in refusals(found, s)] for s in subjects},
        "overrides": overridden(bench),
        "proofs": [p.as_dict() for p in proved.values()],
    }


def leans_dict(bench: Session) -> dict[str, Any]:
    """What leans on what, as a tree for each rail, and what is proved of it."""
    found, proved = map_of(bench), proofs_of(bench)
    return found.as_dict() | {
        "trees": {k: found.tree(k) for k, kind in found.kinds.items() if kind == "rail"},
        "proofs": [p.as_dict() for p in proved.values()],
    }


def override(bench: Session, name: str, why: str) -> Entry:
    """Store that somebody passes a gate all the same, with the reason typed.

    Raises NotFoundError for an unknown gate, ProblemsError for no reason.
    """
    names = [g.name for g in gates_of(bench)]
    match = next((n for n in names if n.lower() == name.strip().lower()), None)
    if match is None:
        raise NotFoundError(f"there is no gate {name}; there are {', '.join(names)}")
    reasoned(why, "why", '--why "boards borrowed, spare set"')
    return bench.note("override", {"gate": match, "why": why.strip()})


def moved(bench: Noter, text: str) -> str:
    """The trimmer that `text`, as typed for :meth:`Session.change`, turns; empty for anything else.

    Raises ProblemsError when the part it names is out, lifted or bypassed, NotFoundError for none.
    """
    words = text.split()
    if len(words) < 2 or words[1].lower() not in TURNED:
        return ""
    ref = find_part(bench.assembly, words[0]).ref
    before = next((c for c in bench.condition.changes if c.part == ref), None)
    if words[1].lower() not in ("set", "turned"):
        back = len(words) == 2 and before is not None and before.what == "set"
        return ref if back else ""
    parse_change(bench.assembly, text)
    if before is not None and before.temporary:
        wrong = f"{before}: put that right before it is turned"
        raise ProblemsError([Problem("", 0, 0, text, wrong, f"{ref} put-back")])
    return ref


def trimmer(bench: Session, ref: str, anyway: str | None) -> Entry | None:
    """Let a trimmer be turned, or refuse: not before the references are proved.

    With `anyway`, a reason, it is let through and the reason stored, for this one move; nothing
    else is opened by it. Raises ProblemsError naming what is not proved and what proves it.
    """
    shut = refusals(gates_of(bench), "trimmers")
    if not shut:
        return None
    if anyway is None:
        raise ProblemsError(
            [
                Problem("", 0, 0, ref, _not_yet(why), g.proof, past="anyway")
                for g in shut
                for why in g.refused
            ]
        )
    reasoned(anyway, "anyway", '--anyway "bench test without reference"')
    names = ", ".join(g.name for g in shut)
    return bench.note("override", {"gate": f"{names} (moving {ref})", "why": anyway.strip()})


def _not_yet(why: str) -> str:
    return f"not to be turned yet: {why.removeprefix('not yet: ')}"


def reasoned(why: str, option: str, instead: str) -> None:
    """Raise ProblemsError unless `why` is long enough for somebody to make sense of later."""
    if len(why.strip()) < SHORTEST:
        wrong = "an override needs its reason, in words the next person will understand"
        raise ProblemsError([Problem("", 0, 0, option, wrong, instead)])


def trip(bench: Session, text: str) -> Entry:
    """Store a measured over-voltage trip, such as ``P5=6.2V``. Raises ProblemsError."""
    rail, sign, value = text.partition("=")
    label = next((k for k in bench.assembly.rails if k.lower() == rail.strip().lower()), None)
    if not sign or label is None:
        names = ", ".join(bench.assembly.rails)
        wrong = f"“{text}” is no rail with its trip; there are {names}"
        raise ProblemsError([Problem("", 0, 0, "trip", wrong, "P5=6.2V")])
    try:
        level = parse(value, "V")
    except QuantityError as error:
        raise ProblemsError([Problem("", 0, 0, text, error.wrong, error.instead)]) from error
    return bench.note("trip", {"rail": label, "volts": level})


def disturbed(bench: Session, text: str) -> Entry:
    """Store parts moved or heated while another was worked on, such as ``R4,R5``."""
    parts = [find_part(bench.assembly, r.strip()).ref for r in text.split(",") if r.strip()]
    if not parts:
        raise ProblemsError([Problem("", 0, 0, "disturbed", "names no part", "R4,R5")])
    return bench.note("disturbed", {"parts": parts})
