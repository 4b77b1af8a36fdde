"""Results of the diagnosis verbs as plain data: one shape for ``--json`` and for every face."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from halfsplit.bench.choosing import WORTHLESS, of_what_is_fed, tells_enough
from halfsplit.bench.contradictory import contradictions
from halfsplit.bench.gating import overridden
from halfsplit.bench.handed import since_handed
from halfsplit.bench.hazards import at_reading, before_dead_reading, before_touching, present
from halfsplit.bench.noting import Noter
from halfsplit.bench.session import Session
from halfsplit.bench.speaks import either_way, within
from halfsplit.bench.too import check_too, tested_bad
from halfsplit.diagnosis.explain import Suspect, SuspectGroup
from halfsplit.diagnosis.groups import Group
from halfsplit.diagnosis.next_check import Check
from halfsplit.diagnosis.repair import measuring, mending, repair_order
from halfsplit.diagnosis.search import nothing_shows
from halfsplit.faults.hypotheses import Fault, Hypothesis

ASKED = 3  # leading groups whose other states are looked for


def suspects_dict(bench: Session, groups: Sequence[SuspectGroup]) -> dict[str, Any]:
    """Groups, heaviest first, each suspect with its prior, its reasons and what was noted; verdicts
    and signs that cannot both be right."""
    also = also_stable(bench, groups)
    return {
        "condition": bench.condition.as_dict(),
        "readings": len(bench.evidence()),
        "pool": bench.pool_said(),
        "groups": [
            {
                "weight": round(g.weight, 5),
                "suspects": [_suspect(s) for s in g.suspects],
                "within": within(g),
                "also_stable": list(words),
            }
            for g, words in zip(groups, also, strict=True)
        ],
        "misfit": [r.as_dict() for r in bench.unexplained()] if bench.evidence() else [],
        "contradictory": [c.as_dict() for c in contradictions(bench)],
    }


def also_stable(bench: Session, groups: Sequence[SuspectGroup]) -> list[tuple[str, ...]]:
    """Other states the machine could rest in with the first suspect of each leading group."""
    most = 1 if bench.machine.self_oscillating else ASKED  # followed from switch-on: seconds each
    asked = [g.suspects[0].hypothesis.changes for g in groups[:most]]
    return [*bench.also_stable(asked), *(() for _ in groups[most:])]


def _suspect(suspect: Suspect) -> dict[str, Any]:
    h = suspect.hypothesis
    return {
        "name": h.name,
        "parts": list(h.parts),
        "faults": [
            {"part": f.part, "mode": f.mode, "cause": f.cause, "look": f.look} for f in h.faults
        ],
        "weight": round(suspect.weight, 5),
        "prior": round(h.prior, 6),
        "prior_why": h.why,
        "reasons": [r.as_dict() for r in suspect.reasons],
        "noted": [n.as_dict() for n in suspect.noted],
        "either_way": either_way(suspect),
    }


def place(bench: Noter, net: str) -> str:
    """Where to put the probe: a named point, or the lead of a part that is easy to find."""
    if net == bench.assembly.common:
        return net
    for name, point in bench.assembly.points.items():
        if point.net == net:
            return f"{name} ({point.at})" if point.at else name
    for ref, part in bench.assembly.parts.items():
        for terminal, at in part.terminals().items():
            if at == net and part.KIND != "block":
                return f"{ref} lead {terminal}"
    return net


def names(bench: Session) -> list[str]:
    """Names of all hypotheses by index."""
    return [h.name for h in bench.hypotheses]


# Leads as the names of faults have them.
LEADS = {"base": "b", "emitter": "e", "collector": "c", "gate": "g", "coil": "c1"}


def proof(bench: Session, fault: Fault) -> list[str]:
    """What the suspected part should show out of circuit if good, and what if this is true: first
    where this fault would show."""
    named = {LEADS.get(word, word) for word in fault.mode.replace("-", " ").split()}

    def away(look: Any) -> int:
        """Fewer for each of its leads that the fault is named after."""
        ends = {look.pos, look.neg, look.pos.partition(".")[0]}
        return -len(named & ends)

    found = [
        f"{d.pos} to {d.neg}, {d.test}: {_band(d.low, d.high, d.test)} ({d.words.split(';')[0]})"
        for d in sorted(bench.assembly.parts[fault.part].dead(), key=away)
    ]
    return [*found[:2], f"if {fault.name}: {fault.look}"]


def _band(low: float, high: float, test: str) -> str:
    from halfsplit.quantity import show

    unit: Any = "ohm" if test == "ohms" else "V"
    if high == float("inf"):
        return f"above {show(low, unit)} or OL"
    return f"{show(low, unit)} to {show(high, unit)}"


# Minutes to change a part, screws and all; common practice, no published source.
CHANGE_MINUTES = {"fuse": 1.0, "connector": 3.0, "wire": 5.0, "transformer": 60.0, "bridge": 15.0}
OTHER_MINUTES = 10.0


def blank_next(bench: Noter) -> dict[str, Any]:
    """:func:`next_dict` while nothing is known of any fault."""
    return {
        "condition": bench.condition.as_dict(),
        "act": None,
        "replace": None,
        "again": [],
        "contradictory": [c.as_dict() for c in contradictions(bench)],
        "quiet": None,
        "mended": None,
        "blocked": None,
        "check_too": [],
        "not_as_drawn": not_as_drawn(bench),
        "tested_bad": tested_bad(bench),
        "checks": [],
        "left_out": "",
        "first": _nothing_known(bench),
        "nothing_left": None,
    }


def next_dict(bench: Session, checks: Sequence[Check] | None = None) -> dict[str, Any]:
    """Either the next check with its outcomes, or what acting now means.

    With `checks` these are told, instead of the best of all.
    """
    listed = names(bench)
    data = blank_next(bench) | {"left_out": bench.left_out}
    quiet = bench.quiet()
    if quiet is not None:
        hidden = [bench.hypotheses[i].name for i in quiet.members if bench.hypotheses[i].faults]
        data["quiet"] = {"weight": round(quiet.weight, 4), "would_not_show": hidden}
    checks = bench.next_checks() if checks is None else checks
    data["again"] = [r.as_dict() for r in bench.unexplained()] if bench.evidence() else []
    since = bench.mended()
    if since is not None:
        lead = bench.groups()[0]
        data["mended"] = {
            "group": [bench.hypotheses[i].name for i in lead.members],
            "readings_since": len(since),
            "all_explained": not data["again"],
        }
    decided = bench.decided(checks[0] if checks else None)
    if decided is not None:
        data["act"] = _act(bench, decided)
    elif checks and bench.evidence() and not data["again"] and since is None:
        data["replace"] = _replace(bench, checks)
    accused = decided or (bench.groups()[0] if since is not None else None)
    data["check_too"] = check_too(bench, accused) if accused is not None else []
    if not bench.condition.energised() and not any(
        c.candidate.condition.energised() for c in checks
    ):
        feeds = [n for n in bench.assembly.feeds if n != "off"]
        little = bool(bench.evidence()) and not tells_enough(of_what_is_fed(bench, checks))
        data["blocked"] = (
            "the machine is off, so only dead readings are proposed"
            + (", and what is left of them tells little" if little else "")
            + f": when it may be powered, say so: `change --feed {feeds[0]}`"
        )
    if checks and max(c.bits for c in checks) < WORTHLESS:
        data["nothing_left"] = "nothing within reach would tell more than next to nothing"
    data["tested_bad"] = tested_bad(bench)
    data["checks"] = [check_dict(bench, check, listed) for check in checks]
    return data


def check_dict(bench: Noter, check: Check, listed: Sequence[str]) -> dict[str, Any]:
    """A check as data, hypotheses by the names `listed`, with where it is and what to mind."""
    item = check.as_dict(listed)
    if check.candidate.quantity == "look":
        return item | {"at": "", "label": check.candidate.net, "caution": ""}
    item["at"] = place(bench, check.candidate.net)
    item["label"] = rail_or_net(bench, check.candidate.net)
    item["caution"] = at_reading(bench.machine, check.candidate.condition, check.top_volts)
    if check.candidate.ohmmeter is not None:
        item["other_at"] = place(bench, check.candidate.black)
        nets = (check.candidate.net, check.candidate.black)
        item["caution"] = "; ".join(before_dead_reading(bench.machine, bench.condition, *nets))
    return item


def not_as_drawn(bench: Noter) -> list[dict[str, str]]:
    """Parts found marked otherwise than drawn that are still in, and what belongs there."""
    fitted = bench.condition.fitted
    return [
        {
            "part": ref,
            "found": ", ".join(f"{k} {v}" for k, v in values),
            "drawn": bench.assembly.parts[ref].label(),
        }
        for ref, values in bench.found_values().items()
        if ref not in fitted
    ]


def _nothing_known(bench: Noter) -> str | None:
    """Advice for a machine of which the journal says nothing yet."""
    if any(e.kind in ("condition", "read") for e in bench.entries):
        return None
    file = bench.assembly.file.name
    return (
        "nothing says yet that this machine may be powered: begin with it off and look and measure "
        f"dead: `change {file} --feed off`; what follows is for when it is on"
    )


def _act(bench: Session, decided: Group) -> dict[str, Any]:
    """Which part to prove first (probability over minutes), how, and what to mind."""
    members = [bench.hypotheses[i] for i in decided.members]
    weights = bench.belief.weights()
    chance = [float(weights[i]) for i in decided.members]
    minutes = [sum(_minutes(bench, ref) for ref in h.parts) for h in members]
    order = repair_order(chance, minutes)
    here = bench.condition
    faults = {f.name: f for i in order[:4] for f in members[i].faults if f.present(here)}
    accused = {p for h in members for p in h.parts}
    due = {f.part for f in faults.values()}
    return {
        "weight": round(decided.weight, 4),
        "group": list(dict.fromkeys(_left(bench, members[i]) for i in order)),
        "done": sorted(here.fitted & accused),
        "as_drawn": {
            f.part: bench.assembly.parts[f.part].label()
            for f in faults.values()
            if f.cause == "wrong"
        },
        "prove": {n: proof(bench, f) for n, f in faults.items() if f.cause != "wrong"},
        "proved": sorted((set(tested_bad(bench)) & due) - here.fitted),
        "before": before_touching(bench.machine, bench.condition, bench.discharged()),
    }


LIKELY = 0.3  # chance below which nobody takes a part out on suspicion; common practice


def _replace(bench: Session, checks: Sequence[Check]) -> dict[str, Any] | None:
    """The part to change straight away, where that is expected to cost fewer minutes than the best
    check and what follows it; None where measuring first is cheaper, or no reading shows anything
    wrong: what is not broken in any reading is not changed for its odds."""
    if nothing_shows(bench.belief):
        return None
    done = bench.condition.fitted
    done |= {ref for ref, good in bench.proofs() if good}
    minutes = {ref: _minutes(bench, ref) for ref in bench.assembly.parts}
    weights, first = bench.belief.weights(), frozenset[str]()

    def sets(members: Sequence[int]) -> dict[frozenset[str], float]:
        total = sum(float(weights[i]) for i in members) or 1.0
        found: dict[frozenset[str], float] = {}
        for i in members:
            key = frozenset(bench.hypotheses[i].parts)
            found[key] = found.get(key, 0.0) + float(weights[i]) / total
        return found

    def measured(check: Check) -> float:
        """Minutes of a check and of mending what it leaves, `first` known to be sound."""
        left = [
            [i for i in o.members if not first or frozenset(bench.hypotheses[i].parts) != first]
            for o in check.outcomes
        ]
        share = [sum(float(weights[i]) for i in members) for members in left]
        whole = sum(share) or 1.0
        outcomes = [(s / whole, sets(m)) for s, m in zip(share, left, strict=True)]
        return measuring(check.candidate.minutes, outcomes, minutes)

    now = sets(range(len(weights)))
    others = min(measured(c) for c in checks)
    _, first = mending(now, minutes)
    chance = now.get(first, 0.0)
    if not first or first & done or chance < LIKELY:
        return None
    cost = sum(minutes[p] for p in first) + (1.0 - chance) * min(measured(c) for c in checks)
    if cost >= others:
        return None
    return {
        "parts": sorted(first),
        "chance": round(chance, 4),
        "minutes": sum(minutes[p] for p in first),
        "expected_minutes": round(cost, 1),
        "measuring_first": round(others, 1),
        "before": before_touching(bench.machine, bench.condition, bench.discharged()),
    }


def _left(bench: Session, hypothesis: Hypothesis) -> str:
    """Names of the faults of a set that are still in the machine."""
    return " + ".join(f.name for f in hypothesis.faults if f.present(bench.condition))


def _minutes(bench: Session, ref: str) -> float:
    return CHANGE_MINUTES.get(bench.assembly.parts[ref].KIND, OTHER_MINUTES)


def rail_or_net(bench: Noter, net: str) -> str:
    """The rail's name if the net is one, else the net's."""
    return next((k for k, r in bench.assembly.rails.items() if r.net == net), net)


def resume_dict(bench: Session) -> dict[str, Any]:
    """State, open items, last readings, leading suspects and next check."""
    readings = [e for e in bench.entries if e.kind == "read"]
    groups = bench.suspects(3) if bench.anything_weighs() else []
    return {
        "assembly": bench.assembly.name,
        "machine": bench.assembly.machine,
        "condition": bench.condition.as_dict(),
        "condition_words": bench.condition.words(),
        "open_items": [str(c) for c in bench.open_items()],
        "overrides": overridden(bench),
        "handed": since_handed(bench.entries),
        "hazards": present(bench.machine, bench.condition, bench.discharged()),
        "readings": len(readings),
        "last_readings": [e.as_dict() for e in readings[-6:]],
        "observations": [e.as_dict() for e in bench.entries if e.kind == "observe"][-4:],
        "suspects": suspects_dict(bench, groups)["groups"],
        "next": next_dict(bench),
    }
