"""What a journal says without solving anything: condition, hazards, entries, what can be chosen."""

from __future__ import annotations

from typing import Any

from halfsplit.assembly.condition import BENCH
from halfsplit.bench.handed import own
from halfsplit.bench.hazards import before_touching, present
from halfsplit.bench.noting import Noter
from halfsplit.bench.words import UNITS, entry_words, reads
from halfsplit.diagnosis.meters import meters
from halfsplit.diagnosis.signs import OF_MACHINE, OF_PART
from halfsplit.faults.ohmmeter import ohmmeters
from halfsplit.journal import Entry

LISTED = 30  # last entries told


def overridden(bench: Noter) -> list[dict[str, Any]]:
    """Overrides in force, for whoever comes back to the machine."""
    return [
        {"gate": e.body["gate"], "why": e.body["why"], "at": e.at.isoformat(), "entry": e.seq}
        for e in own(bench.entries)
        if e.kind == "override"
    ]


def ledger_dict(bench: Noter) -> dict[str, Any]:
    """The state a machine is in by its journal, and its last entries; nothing is solved."""
    now, entries = bench.condition, bench.entries
    undone = bench.journal.undoing()
    return {
        "last": bench.journal.last(),
        "condition": now.as_dict(),
        "condition_words": now.words(),
        "energised": now.energised(),
        "mains": bool(bench.assembly.feeds[now.feed].mains),
        "ambient": now.ambient,
        "usual_air": now.ambient == BENCH,
        "changes": [
            {"part": c.part, "words": str(c), "temporary": c.temporary} for c in now.changes
        ],
        "switches": switches(bench),
        "open_items": [str(c) for c in bench.open_items()],
        "overrides": overridden(bench),
        "hazards": present(bench.machine, now, bench.discharged()),
        "before_touching": before_touching(bench.machine, now, bench.discharged()),
        "now_read": now_read(bench),
        "as_drawn": sorted({e.body["part"] for e in entries if _as_drawn(e)}),
        "readings": sum(e.kind == "read" for e in entries),
        "entries": [entry_dict(bench, e) for e in entries[-LISTED:]],
        "undone": entry_dict(bench, undone) if undone is not None else None,
        "keys": [e.key for e in entries[-LISTED:] if e.key],
        "at": entries[-1].at.isoformat() if entries else None,
        "meter": bench.meter.name,
    }


def now_read(bench: Noter) -> list[dict[str, str]]:
    """The latest reading at each place in the present condition, as the next check names places."""
    now, common = bench.condition, bench.assembly.common
    found = {
        (e.pos, e.neg or common, str(e.quantity)): reads(
            None if e.over else e.value, UNITS.get(e.quantity, "V")
        )
        for e in bench.evidence()
        if e.condition == now
    }
    return [
        {"net": net, "black": black, "quantity": quantity, "reads": words}
        for (net, black, quantity), words in found.items()
    ]


def _as_drawn(entry: Entry) -> bool:
    return entry.kind == "observe" and entry.body.get("sign") == "as-drawn"


def entry_dict(bench: Noter, entry: Entry) -> dict[str, Any]:
    """An entry as data, and in words."""
    return {
        "seq": entry.seq,
        "at": entry.at.isoformat(),
        "kind": entry.kind,
        "words": entry_words(bench.assembly, entry),
    }


def switches(bench: Noter) -> list[dict[str, str]]:
    """Every switch of the machine and how it stands."""
    moved = dict(bench.condition.switches)
    return [
        {"part": ref, "state": moved.get(ref, str(part.__dict__.get("state", "closed")))}
        for ref, part in bench.assembly.parts.items()
        if part.KIND == "switch"
    ]


def facts_dict(bench: Noter) -> dict[str, Any]:
    """What does not change while the file stays as it is: names to choose from."""
    assembly = bench.assembly
    return {
        "name": assembly.name,
        "machine": assembly.machine,
        "file": str(assembly.file),
        "common": assembly.common,
        "slow": bench.machine.self_oscillating,  # each row is followed from switch-on
        "doubts": [str(p) for p in bench.doubts],
        "feeds": [{"name": n, "note": f.note or ""} for n, f in assembly.feeds.items()],
        "loads": list(assembly.loads),
        "places": places(bench),
        "parts": [
            {
                "ref": ref,
                "label": part.label(),
                "leads": list(part.terminals()),
                "kind": part.KIND,
            }
            for ref, part in assembly.parts.items()
        ],
        "meters": list(meters()),
        "ohmmeters": list(ohmmeters()),
        "part_signs": {k: w.words for k, w in OF_PART.items()},
        "machine_signs": list(OF_MACHINE),
    }


def places(bench: Noter) -> list[dict[str, str]]:
    """Names a reading may be taken at: rails, points, then every net, each with where it is."""
    assembly = bench.assembly
    found = {k: r.note or f"rail, net {r.net}" for k, r in assembly.rails.items()}
    found |= {k: p.at or f"net {p.net}" for k, p in assembly.points.items() if k not in found}
    for net in assembly.nets():
        found.setdefault(net, assembly.net_label(net) if assembly.net_label(net) != net else "")
    found.setdefault(assembly.common, "common")
    return [{"name": k, "where": v} for k, v in found.items()]
