"""Entries and readings in words, the same for every face."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from halfsplit.bench.handed import HANDED
from halfsplit.quantity import Unit, show
from halfsplit.quantity.volts import volts

if TYPE_CHECKING:
    from halfsplit.assembly.model import Assembly
    from halfsplit.journal import Entry

KINDS = {"volts": "", "diode": " diode test", "ac": " AC range"}
UNITS: dict[str, Unit] = {"ohms": "ohm", "frequency": "Hz", "amps": "A"}
MOST_OUTCOMES, MOST_NAMES = 6, 4


def percent(weight: float) -> str:
    """A weight as people say it."""
    if weight > 0.995:
        return "over 99%"
    return f"{100 * weight:.0f}%" if weight >= 0.01 else "under 1%"


def reads(value: float | None, unit: str) -> str:
    """A reading in volts, hertz or ohms; None is over-range."""
    if value is None:
        return "OL"
    if unit == "V":
        return volts(value)
    return show(value, "Hz" if unit == "Hz" else "ohm", 3)


def reading_words(assembly: Assembly, body: Mapping[str, Any]) -> str:
    """A reading's body as it is said back: where, of what sort, and what it showed."""
    where = assembly.net_label(body["net"])
    where += f" to {body['against']}" if body["against"] else ""
    kind = KINDS.get(body["quantity"], f" {body['quantity']}")
    return f"{where}{kind} {value_words(body)}"


def value_words(body: Mapping[str, Any]) -> str:
    """What a reading showed, with its unit."""
    if body["value"] is not None:
        unit = UNITS.get(body["quantity"])
        return show(body["value"], unit, 4) if unit else volts(body["value"])
    if body.get("ohmmeter") and body["state"] == "over":
        return "OL"
    return f"{body['text']} (kept, not weighed)"


def noted_words(body: Mapping[str, Any]) -> str:
    """An observation or a verdict on a part."""
    verdict = {True: " good", False: " bad", None: ""}[body.get("good")]
    about = f" [{body['part']}{verdict}]" if body["part"] else ""
    return f"{body.get('text', '')}{about}"


def entry_words(assembly: Assembly, entry: Entry) -> str:
    """One entry of any kind in a few words."""
    body = entry.body
    if entry.kind == "read":
        return reading_words(assembly, body)
    if entry.kind in ("observe", "prove"):
        return noted_words(body)
    if entry.kind == "condition":
        now = body["condition"]
        fed = "off" if now["feed"] == "off" else f"fed by {now['feed']}"
        return str(body.get("did") or f"now {fed}, load {now['load']}")
    if entry.kind == "meter":
        return f"meter: {body['meter'].get('name', '')}"
    if entry.kind == HANDED:
        return f"unpacked here: the {body['entries']} entries before are of another bench"
    return plain_words(entry)


def plain_words(entry: Entry) -> str:
    """An entry of any file's journal by its kind and what is named in it."""
    if entry.kind == "undo":
        return f"the undoing of entry {entry.body['undoes']}"
    told = [f"{k} {v}" for k, v in entry.body.items() if isinstance(v, (str, int, float))]
    return f"{entry.kind}: {', '.join(told)}" if told else entry.kind


def outcome_reads(outcome: Mapping[str, Any], unit: str) -> str:
    """What the meter would show, in words."""
    ends = dict.fromkeys((reads(outcome["low"], unit), reads(outcome["high"], unit)))
    return str(outcome["said"] or " to ".join(ends))


def outcome_leaves(outcome: Mapping[str, Any]) -> str:
    """Who would be left, the first few by name."""
    leaves = outcome["leaves"]
    more = f" and {len(leaves) - MOST_NAMES} more" if len(leaves) > MOST_NAMES else ""
    return ", ".join(leaves[:MOST_NAMES]) + more


def told(check: Mapping[str, Any]) -> tuple[Sequence[Mapping[str, Any]], float]:
    """Outcomes worth telling, and the chance of anything else."""
    found = [o for o in check["outcomes"] if not o["adrift"]][:MOST_OUTCOMES]
    return found, 1.0 - sum(o["chance"] for o in found)


def healthy_words(check: Mapping[str, Any]) -> str:
    """What a healthy machine reads there."""
    if not check["healthy"]:
        return "adrift, any reading"
    return " to ".join(reads(v, check["unit"]) for v in check["healthy"])
