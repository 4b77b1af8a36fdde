"""Results of the diagnosis verbs as plain data: one shape for ``--json`` and for every face."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from halfsplit.bench.session import Session, Suspect, SuspectGroup
from halfsplit.faults.hypotheses import Hypothesis


def suspects_dict(bench: Session, groups: Sequence[SuspectGroup]) -> dict[str, Any]:
    """Groups, heaviest first, each suspect with its prior and its reasons."""
    return {
        "condition": bench.condition.as_dict(),
        "readings": len(bench.evidence()),
        "groups": [
            {"weight": round(g.weight, 5), "suspects": [_suspect(s) for s in g.suspects]}
            for g in groups
        ],
        "misfit": misfits(groups),
    }


def _suspect(suspect: Suspect) -> dict[str, Any]:
    h = suspect.hypothesis
    return {
        "name": h.name,
        "part": h.part,
        "mode": h.mode,
        "weight": round(suspect.weight, 5),
        "prior": round(h.prior, 6),
        "prior_why": h.why,
        "reasons": [r.as_dict() for r in suspect.reasons],
    }


def misfits(groups: Sequence[SuspectGroup]) -> list[dict[str, Any]]:
    """Readings the leading suspect contradicts: worth taking again before believing anything."""
    if not groups:
        return []
    lead = groups[0].suspects[0]
    if not lead.hypothesis.part:
        return []
    return [r.as_dict() for r in lead.reasons if r.verdict == "contradicts"]


def place(bench: Session, net: str) -> str:
    """Where to put the probe: a named point, or the lead of a part that is easy to find."""
    for name, point in bench.assembly.points.items():
        if point.net == net:
            return f"{name}, {point.at}" if point.at else name
    for ref, part in bench.assembly.parts.items():
        for terminal, at in part.terminals().items():
            if at == net:
                return f"{ref} lead {terminal}"
    return net


def names(bench: Session) -> list[str]:
    """Names of all hypotheses by index."""
    return [h.name for h in bench.hypotheses]


def proof(bench: Session, hypothesis: Hypothesis) -> list[str]:
    """What the suspected part should show out of circuit if good, and what if this is true."""
    part = bench.assembly.parts[hypothesis.part]
    found = [
        f"{d.pos} to {d.neg}, {d.test}: {_band(d.low, d.high, d.test)} ({d.words.split(';')[0]})"
        for d in part.dead()
    ]
    return [*found[:2], f"if {hypothesis.name}: {hypothesis.look}"]


def _band(low: float, high: float, test: str) -> str:
    from halfsplit.quantity import show

    unit: Any = "ohm" if test == "ohms" else "V"
    if high == float("inf"):
        return f"above {show(low, unit)} or OL"
    return f"{show(low, unit)} to {show(high, unit)}"


def next_dict(bench: Session) -> dict[str, Any]:
    """Either the next check with its outcomes, or what acting now means."""
    decided = bench.decided()
    listed = names(bench)
    data: dict[str, Any] = {"condition": bench.condition.as_dict(), "act": None, "checks": []}
    quiet = bench.quiet()
    if quiet is not None:
        hidden = [bench.hypotheses[i].name for i in quiet.members if bench.hypotheses[i].part]
        data["quiet"] = {"weight": round(quiet.weight, 4), "would_not_show": hidden}
    if decided is not None:
        members = [bench.hypotheses[i] for i in decided.members]
        data["act"] = {
            "weight": round(decided.weight, 4),
            "group": [h.name for h in members],
            "prove": {h.name: proof(bench, h) for h in members[:4] if h.part},
        }
    if not bench.condition.energised():
        data["blocked"] = "the machine is off; this version proposes powered readings only"
        return data
    for check in bench.next_checks():
        item = check.as_dict(listed)
        item["at"] = place(bench, check.candidate.net)
        item["label"] = bench.assembly.net_label(check.candidate.net)
        item["caution"] = caution(bench, check.top_volts)
        data["checks"].append(item)
    return data


def caution(bench: Session, top_volts: float) -> str:
    """The usual caution at a powered reading, with its number."""
    from halfsplit.diagnosis.next_check import TOUCH_VOLTS

    words = []
    if top_volts > TOUCH_VOLTS:
        words.append(
            f"up to {top_volts:.0f} V here: one hand, insulated prods, clip on with power off"
        )
    if bench.machine.assembly.feeds[bench.condition.feed].mains and bench.machine.mains_nets():
        live = ", ".join(sorted(bench.machine.mains_nets()))
        volts = bench.assembly.mains.volts if bench.assembly.mains else 230.0
        words.append(f"{volts:.0f} V mains on {live}: keep clear; local rules come first")
    return "; ".join(words)


def resume_dict(bench: Session) -> dict[str, Any]:
    """State, open items, last readings, leading suspects and next check."""
    readings = [e for e in bench.entries if e.kind == "read"]
    groups = bench.suspects(3) if bench.evidence() else []
    return {
        "assembly": bench.assembly.name,
        "machine": bench.assembly.machine,
        "condition": bench.condition.as_dict(),
        "condition_words": bench.condition.words(),
        "open_items": [str(c) for c in bench.open_items()],
        "hazards": hazards(bench),
        "readings": len(readings),
        "last_readings": [e.as_dict() for e in readings[-6:]],
        "observations": [e.as_dict() for e in bench.entries if e.kind == "observe"][-4:],
        "suspects": suspects_dict(bench, groups)["groups"],
        "next": next_dict(bench),
    }


def hazards(bench: Session) -> list[str]:
    """What may hurt at this moment, with numbers; stored charge counts until proved gone."""
    from halfsplit.quantity import show

    found = []
    if bench.assembly.feeds[bench.condition.feed].mains and bench.assembly.mains:
        found.append(f"mains, {bench.assembly.mains.volts:.0f} V, on while fed by mains")
    for ref, part in bench.assembly.parts.items():
        rated, value = part.__dict__.get("volts"), part.__dict__.get("value")
        if "capacitor" in part.KIND or part.KIND in ("electrolytic", "tantalum"):
            if not rated or not value:
                continue
            energy = 0.5 * value * rated**2
            # A quarter of a joule startles badly; common practice, no published source.
            if energy >= 0.25:
                found.append(
                    f"{ref} may hold {show(energy, 'J', 2)} at {rated:g} V: discharge through a "
                    "resistor and measure before touching"
                )
    return found
