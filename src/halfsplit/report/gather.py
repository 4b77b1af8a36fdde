"""Everything a report says about one machine, as plain data, from its journal and the bench."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from halfsplit import __version__
from halfsplit.assembly.condition import Condition, find_part
from halfsplit.bench import history, planning, views
from halfsplit.bench.beside import boards_beside
from halfsplit.bench.contradictory import contradictions
from halfsplit.bench.gating import gate_dict, overridden
from halfsplit.bench.hazards import before_touching, mains_volts, present
from halfsplit.bench.report import next_dict
from halfsplit.bench.session import Session
from halfsplit.pictures.chart import chart_svg
from halfsplit.pictures.choice import neighbourhood
from halfsplit.pictures.circuit import circuit_svg
from halfsplit.problems import HalfsplitError
from halfsplit.quantity import Unit, show
from halfsplit.quantity.volts import volts

SUSPECT = 0.05  # weight from which a suspect is named among the residual doubts
MOMENTS = 12  # entries at which the chart of suspicion is taken
# What no reading of this program speaks about, whatever it finds.
LEFT_OUT = (
    "insulation and protective earth: the tests local rules ask for after a repair are not part of "
    "this report",
    "joints and parts that fail only when hot, cold or moved: every reading was taken as the "
    "machine stood",
    "what a scope alone shows: noise, ringing and oscillation that the drawing does not explain",
    "anything that is not in the file: boards and their logic, wiring not drawn, parts added by "
    "others",
    "ageing from here on: a part that reads right today has its years all the same",
)


def gather(bench: Session, *, quick: bool = False, drawn: bool = True) -> dict[str, Any]:
    """The report as data.

    `quick` leaves out what takes the circuit to be solved many times: proofs, curves, how suspicion
    moved; the report says so. `drawn` adds pictures, as SVG.
    """
    entries = bench.journal.history()
    last = entries[-1] if entries else None
    faults = history.faults(bench)
    now = bench.condition
    gates = None if quick else gate_dict(bench)
    data: dict[str, Any] = {
        "assembly": bench.assembly.name,
        "machine": bench.assembly.machine,
        "file": bench.assembly.file.name,
        "version": __version__,
        "as_of": history.when(last) if last else "",
        "timestamp": int(last.at.timestamp()) if last else 0,
        "entries": len(entries),
        "quick": quick,
        "state": state(bench),
        "condition": now.words(),
        "mains": _mains(bench),
        "settings": _settings(bench),
        "found": history.as_found(bench),
        "faults": faults,
        "fitted": history.fitted(bench),
        "rails": history.rails(bench),
        "protection": history.protections(bench),
        "capacitors": history.capacitors(bench),
        "overrides": overridden(bench),
        "open_items": [str(c) for c in bench.open_items()],
        "hazards": _hazards(bench),
        "before": before_touching(bench.machine, now, bench.discharged()),
        "gates": gates,
        "boards": boards_beside(bench.assembly.file),
        "plan": _plan(bench),
        "next": None if quick and not bench.evidence() else _next(bench),  # minutes where it beats
        "left_out": list(LEFT_OUT),
        "log": history.log(bench, entries),
    }
    data["doubts"] = doubts(bench, data)
    data["pictures"] = pictures(bench, data, quick) if drawn else []
    return data


def state(bench: Session) -> str:
    """How the machine stands, in one sentence."""
    if not bench.evidence() and not bench.proofs():
        return "nothing has been read that could be weighed"
    groups = bench.groups()
    lead = bench.hypotheses[groups[0].members[0]]
    unexplained = bench.unexplained()
    since = bench.mended()
    if since is not None:
        done = ", ".join(lead.parts)
        if not since:
            return f"{done} replaced; nothing has been read since"
        if not unexplained:
            return f"{done} replaced; that explains every reading, {len(since)} of them taken since"
        return f"{done} replaced; {len(unexplained)} readings are left unexplained"
    if bench.quiet() is not None:
        return "no fault shows in the readings taken"
    return f"under diagnosis: {lead.name} leads with {100 * groups[0].weight:.0f} %"


def _mains(bench: Session) -> str:
    told, now = bench.assembly.mains, bench.condition.mains
    level = mains_volts(bench.machine)
    if told is not None:
        words = f"{told.volts:g} V, {told.hertz:g} Hz"
    elif level is not None:
        words = f"{level:g} V"
    else:
        return "no mains inlet in the file"
    return words + (f", now at {100 * now:g} % by a variac" if now is not None else "")


def _hazards(bench: Session) -> list[str]:
    """What may hurt in it, the mains it can be plugged into first."""
    found = present(bench.machine, bench.condition, bench.discharged())
    level = mains_volts(bench.machine)
    if level is not None and not any("mains" in t for t in found):
        words = (
            f"{level:.0f} V mains inside once plugged in: pull the plug, a switch is no isolation"
        )
        found.insert(0, words)
    return found


def _settings(bench: Session) -> list[dict[str, str]]:
    """Trimmers and switches: as the file has them and as they stand."""
    now = bench.condition
    switched, turned = dict(now.switches), {c.part: dict(c.values) for c in now.changes}
    found = []
    for ref, part in bench.assembly.parts.items():
        if part.KIND == "potentiometer":
            drawn = f"{100 * float(part.__dict__['set']):g}%"
            found.append(
                {"part": ref, "drawn": drawn, "now": turned.get(ref, {}).get("set", drawn)}
            )
        elif part.KIND == "switch":
            drawn = str(part.__dict__["state"])
            found.append({"part": ref, "drawn": drawn, "now": switched.get(ref, drawn)})
    return found


def _plan(bench: Session) -> dict[str, Any] | None:
    if planning.written(bench) is None:
        return None
    return planning.plan_dict(bench)


def _next(bench: Session) -> dict[str, Any]:
    """The next check and what it would mean, in words for paper."""
    told = next_dict(bench)
    kept = {k: told[k] for k in ("blocked", "first", "nothing_left", "act")}
    checks = []
    for c in told["checks"]:
        other = c.get("other_at", bench.assembly.common)
        checks.append(
            {
                "label": c["label"],
                "at": f"{c['at']} to {other}" if c["at"] else "",
                "quantity": c["quantity"],
                "condition": _words(c["condition"]),
                "caution": c["caution"],
                "expect": _span(c["healthy"][0], c["healthy"][-1], c["unit"])
                if c["healthy"]
                else "",
                "outcomes": [
                    {"reads": _reads(o, c["unit"]), "means": ", ".join(o["leaves"][:4])}
                    for o in c["outcomes"][:6]
                ],
            }
        )
    return {**kept, "checks": checks}


def _words(condition: Any) -> str:
    return Condition.from_dict(condition).words()


def _reads(outcome: Any, unit: Unit) -> str:
    """An outcome of a check as the meter shows it."""
    if outcome["said"]:
        return str(outcome["said"])
    if outcome["adrift"]:
        return "adrift, anything"
    return _span(outcome["low"], outcome["high"], unit)


def _span(low: float | None, high: float | None, unit: Unit) -> str:
    ends = [
        "OL" if v is None else volts(v) if unit == "V" else show(v, unit, 3) for v in (low, high)
    ]
    return ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def doubts(bench: Session, data: dict[str, Any]) -> list[str]:
    """What is not proved, one line each, most particular first."""
    odd = bench.unexplained() if bench.evidence() else []
    found = [f"reading #{r.evidence.number} is not explained: {r.words}" for r in odd]
    found += [f"contradictory: {c.words}" for c in contradictions(bench)]
    bare = [e for e in bench.entries if e.kind == "read" and e.body["state"] != "number"]
    found += [
        f"reading #{e.seq} of {bench.assembly.net_label(e.body['net'])} was no number "
        f"({e.body['text']}) and is not weighed"
        for e in bare
        if not e.body.get("ohmmeter")
    ]
    for rail in data["rails"]:
        last = {r["load"]: r for r in rail["readings"]}
        found += [
            f"{rail['rail']} was outside its limits when last read at load {load} (#{r['entry']})"
            for load, r in last.items()
            if r["within"] is False
        ]
        if not rail["readings"]:
            found.append(f"{rail['rail']} was never read")
    done = bench.condition.fitted
    tested = {part for part, _ in bench.proofs()}
    found += [
        f"{ref} was touched by an earlier repairer, and neither replaced nor tested since"
        for ref in data["found"]["touched"]
        if ref not in done | tested
    ]
    corrected = {r["part"] for r in data["fitted"] if r["what"] == "replaced"}
    found += [
        f"{m['part']} is marked {m['found']} where {m['drawn']} is drawn, and is still in"
        for m in data["found"]["marked"]
        if m["part"] not in corrected
    ]
    found += [
        f"{t['part']} may have been taken along by {f['fault']} and was not looked at yet"
        for f in data["faults"]
        for t in f["took_along"]
        if t["became"] == "not looked at yet"
    ]
    tripped = {
        p["rail"] for p in data["protection"] if p["test"] in ("crowbar", "over-voltage trip")
    }
    found += [
        f"the over-voltage trip of {label} was never measured"
        for label, rail in bench.assembly.rails.items()
        if rail.over_voltage is not None and label not in tripped
    ]
    if data["gates"] is not None:
        found += [
            f"{p['label']} is not proved: "
            + "; ".join(str(m).removeprefix(f"{p['label']}: ") for m in p["missing"])
            for p in data["gates"]["proofs"]
            if not p["proved"]
        ]
    elif data["quick"]:
        found.append("what is proved was not worked out: this report was made with --quick")
    if bench.evidence() and bench.mended() is None:
        found += [
            f"still suspect, {100 * g.weight:.0f} %: {bench.hypotheses[g.members[0]].name}"
            for g in bench.groups()[:6]
            if g.weight >= SUSPECT and bench.hypotheses[g.members[0]].faults
        ]
    return list(dict.fromkeys(found))


# -- pictures -------------------------------------------------------------------------------------


def pictures(bench: Session, data: dict[str, Any], quick: bool) -> list[dict[str, str]]:
    """Drawings, each with the section it belongs to and a line that says the same in words."""
    found: list[dict[str, str]] = []

    def draw(section: str, make: Callable[[], Any]) -> None:
        try:
            chart = make()
        except HalfsplitError as error:
            found.append({"section": section, "svg": "", "caption": f"not drawn: {error}"})
            return
        said = "; ".join(chart.notes[:6]) if section != "suspicion" else chart.title
        found.append({"section": section, "svg": chart_svg(chart), "caption": said})

    if not quick and bench.evidence():
        draw("suspicion", lambda: views.suspicion(bench, MOMENTS))
    for fault in data["faults"]:
        ref = find_part(bench.assembly, fault["part"]).ref
        around = neighbourhood(bench.assembly, ref)
        drawing = circuit_svg(around, name=f"Circuit around {ref}")
        found.append(
            {
                "section": "faults",
                "svg": drawing,
                "caption": f"{ref} (heavy lines) and its neighbours",
            }
        )
    for rail in data["rails"]:
        if rail["readings"] and not quick:
            label = rail["rail"]
            draw("rails", lambda label=label: views.load_curve(bench, label))  # type: ignore[misc]
    for item in data["capacitors"]["reformed"]:
        draw("reformed", lambda ref=item["part"]: views.forming(bench, ref))  # type: ignore[misc]
    return found
