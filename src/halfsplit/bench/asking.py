"""One proposed check, told to whoever holds the probes: where, how, what it would mean."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from halfsplit.assembly.condition import Condition
from halfsplit.bench.words import (
    healthy_words,
    outcome_leaves,
    outcome_reads,
    percent,
    reads,
    told,
)

if TYPE_CHECKING:
    from halfsplit.bench.noting import Noter

SETTINGS = {
    "volts": "direct volts",
    "ripple": "scope, peak to peak",
    "ac": "AC range",
    "frequency": "frequency",
    "ohms": "ohms",
    "diode": "diode test",
}


def ask_dict(bench: Noter, check: Mapping[str, Any]) -> dict[str, Any]:
    """A check of :func:`halfsplit.bench.report.next_dict` as steps and words.

    `first` is what to set before it (feed, load, changes as typed), `range` the largest value that
    may show, `sign` whether a healthy machine shows a minus, `net` and `black` the nets to type.
    """
    common = bench.assembly.common
    if check["quantity"] == "look":
        part = bench.assembly.parts[check["net"]]
        return {
            "quantity": "look",
            "title": f"Look at {part.ref}",
            "part": part.ref,
            "question": f"Is it {part.label()}? Its marking, and which way round.",
            "net": "",
            "black": "",
            "first": first(bench.condition, Condition.from_dict(check["condition"])),
            "outcomes": _outcomes(check),
            "caution": check["caution"],
            "minutes": check["minutes"],
            "why": _why(check),
        }
    quantity, unit = check["quantity"], check["unit"]
    what = SETTINGS[quantity]
    return {
        "quantity": quantity,
        "title": f"{what[0].upper()}{what[1:]} at {check['label']}",
        "red": check["at"],
        "black_at": check.get("other_at", common),
        "net": check["net"],
        "black": check["black"] or common,
        "meter": check["ohmmeter"] or "",
        "setting": what + (f" ({check['ohmmeter']})" if check["ohmmeter"] else ""),
        "range": _range(check, unit),
        "sign": _sign(check),
        "healthy": healthy_words(check),
        "first": first(bench.condition, Condition.from_dict(check["condition"])),
        "outcomes": _outcomes(check),
        "caution": check["caution"],
        "minutes": check["minutes"],
        "why": _why(check),
    }


def _outcomes(check: Mapping[str, Any]) -> list[dict[str, str]]:
    found, left = told(check)
    unit = check["unit"]
    rows = [
        {
            "reads": outcome_reads(o, unit),
            "chance": percent(o["chance"]),
            "means": outcome_leaves(o),
        }
        for o in found
    ]
    if check["quantity"] != "look":
        means = "a rarer fault, a slip, or not in this model"
        rows.append({"reads": "anything else", "chance": percent(left), "means": means})
    return rows


def _why(check: Mapping[str, Any]) -> str:
    return (
        f"it tells most for its time: {check['bits']:.2g} bit in about {check['minutes']:.1f} min, "
        "more a minute than anything else within reach"
    )


def _ends(check: Mapping[str, Any]) -> list[float]:
    found, _ = told(check)
    ends = [o[k] for o in found for k in ("low", "high")] + list(check["healthy"] or [])
    return [float(v) for v in ends if v is not None]


def _range(check: Mapping[str, Any], unit: str) -> str:
    ends = [abs(v) for v in _ends(check)]
    return reads(max(ends), unit) if ends else ""


def _sign(check: Mapping[str, Any]) -> str:
    if check["quantity"] not in ("volts",) or not check["healthy"]:
        return ""
    low, high = check["healthy"]
    if low is not None and high is not None and max(low, high) < 0:
        return "a healthy machine shows a minus"
    if low is not None and high is not None and min(low, high) > 0:
        return "a healthy machine shows no minus"
    return "near nought when healthy: either sign"


def first(now: Condition, then: Condition) -> list[dict[str, str]]:
    """What to set before a check, step by step: `words`, and how to say that it is done."""
    steps = []
    if then.feed != now.feed:
        steps.append({"words": f"feed it by {then.feed}", "feed": then.feed})
    if (then.load, then.extra) != (now.load, now.extra):
        steps.append({"words": f"set load {then.load}", "load": then.load})
    verbs = {"lifted": "lift", "fitted": "fitted", "removed": "removed", "bypassed": "bypassed"}
    for change in sorted(set(then.changes) - set(now.changes), key=str):
        did = f"{change.part} {verbs.get(change.what, change.what)} {change.lead}".strip()
        steps.append({"words": str(change), "did": did})
    return steps
