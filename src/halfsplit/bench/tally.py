"""The score of a drill from the records of its cases, however many runs they came from."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import Any

Record = Mapping[str, Any]

# Bounds of the bands of claimed weight. The planner acts from 0.9 on.
BANDS = (0.0, 0.9, 0.93, 0.96, 0.99, 0.999, 1.000001)
# And of whatever leads, acted on or not.
LEADS = (0.0, 0.3, 0.5, 0.7, 0.85, 0.95, 0.99, 1.000001)
CLAIM = 4  # members of a claim: see :class:`halfsplit.bench.drill.Played`


def tally(records: Sequence[Record]) -> dict[str, Any]:
    """The table of a drill, by kind of case, with the series a chart of it needs.

    `records` are of :meth:`halfsplit.bench.drill.Played.as_dict`.
    """
    found: dict[str, Any] = {}
    for kind in dict.fromkeys(r["kind"] for r in records):
        some = [r for r in records if r["kind"] == kind]
        decided = [r for r in some if r["claimed"] is not None]
        named = [r for r in some if r["cascade"] is not None]
        found[kind] = {
            "cases": len(some),
            "top": _share(some, lambda r: r["top"]),
            "top_three": _share(some, lambda r: r["third"]),
            "part_top": _share(some, lambda r: r["part_top"]),
            "part_three": _share(some, lambda r: r["part_three"]),
            "decided": _share(some, lambda r: r["claimed"] is not None),
            "first_decision_right": _share(decided, lambda r: bool(r["right"])),
            "confident_wrong": _share(some, lambda r: r["claimed"] is not None and not r["right"]),
            "sound_parts_tested": _mean([r["accused"] for r in some]),
            "called_faulty": _share(some, lambda r: r["claimed"] is not None),
            "checks_to_decision": _mean([r["first_checks"] for r in decided]),
            "checks": _mean([r["checks"] for r in some]),
            "minutes": _mean([r["minutes"] for r in some]),
            "hazardous_checks": sum(r["hazardous"] for r in some),
            "live_checks": sum(r["live"] for r in some),
            "unanswered": sum(r["unanswered"] for r in some),
            "cascade_named": _share(named, lambda r: bool(r["cascade"])) if named else None,
            "histogram": histogram([r["first_checks"] for r in decided]),
        }
    found["calibration"] = calibration(records)
    return found


def histogram(checks: Sequence[int]) -> list[dict[str, int]]:
    """How many cases took how many checks to the first decision."""
    counts = Counter(checks)
    return [{"checks": n, "cases": counts[n]} for n in range(max(counts, default=-1) + 1)]


def calibration(records: Sequence[Record]) -> list[dict[str, float]]:
    """Claimed weight at the first decision against how often it was right, in bands.

    Cases count as often as their kind occurs, where records tell its `share`. `low` to `high` is
    where the true share lies, by Wilson's interval at 95 % (E. B. Wilson, "Probable inference, the
    law of succession, and statistical inference", JASA 22, 1927), of as many cases of equal weight
    as tell as much (L. Kish, "Survey Sampling", 1965).
    """
    each = zip(records, occurring(records), strict=True)
    told = [(r["claimed"], r["right"], w) for r, w in each if r["claimed"] is not None]
    return _bands([(*t, who) for who, t in enumerate(told)], BANDS)


def on_the_way(
    records: Sequence[Record], whole: bool = False, blaming: bool | None = None
) -> list[dict[str, float]]:
    """The same of whatever led after each reading before the first decision: that it is all or part
    of the truth, where it blames a part at all, or with `whole` that it is all of it; with
    `blaming` only of leaders that blame a part, or that blame none.

    Readings of one machine go together, so the interval counts machines and not claims. Records
    from before claims were told so have none.
    """
    at = 0 if whole else 2
    told = []
    for who, (r, w) in enumerate(zip(records, occurring(records), strict=True)):
        listed = [c for c in r.get("claims", ()) if len(c) == CLAIM and c[at] > 0.0]
        told += [(c[at], c[at + 1], w, who) for c in listed if blaming in (None, c[2] > 0.0)]
    return _bands(told, LEADS)


def at_the_end(records: Sequence[Record]) -> list[dict[str, float]]:
    """The same of what led when it stopped, against the whole truth; "no fault" is a claim too."""
    each = zip(records, occurring(records), strict=True)
    told = [(r["ended"], r["top"], w) for r, w in each if r.get("ended") is not None]
    return _bands([(*t, who) for who, t in enumerate(told)], LEADS)


def occurring(records: Sequence[Record]) -> list[float]:
    """How much each record counts so that every kind has the share it has of machines; all alike
    where any of them does not tell that share."""
    if any(r.get("share") is None for r in records):
        return [1.0] * len(records)
    many = Counter(r["kind"] for r in records)
    return [r["share"] / many[r["kind"]] for r in records]


def _bands(
    told: Sequence[tuple[float, float, float, int]], bounds: Sequence[float]
) -> list[dict[str, float]]:
    """Rows of claims, each with how far it was right, how much it counts and whose it is, between
    bounds. What is claimed and what is right go by claim, the interval by machine."""
    rows = []
    for floor, top in pairwise(bounds):
        some = [t for t in told if floor <= t[0] < top and t[2] > 0.0]
        if some:
            each: dict[int, float] = {}
            for *_, w, who in some:
                each[who] = each.get(who, 0.0) + w
            whole = sum(each.values())
            right = sum(hit * w for _, hit, w, _ in some) / whole
            equal = whole**2 / sum(w * w for w in each.values())
            low, high = wilson(right * equal, equal)
            claimed = sum(c * w for c, _, w, _ in some) / whole
            rows.append(
                {
                    "cases": len(each),
                    "claimed": round(claimed, 4),
                    "right": round(right, 4),
                    "low": low,
                    "high": high,
                }
            )
    return rows


def wilson(hits: float, count: float, z: float = 1.96) -> tuple[float, float]:
    """Interval of a share seen `hits` times in `count`."""
    share, spread = hits / count, z * z / count
    middle = share + spread / 2.0
    half = z * math.sqrt(share * (1.0 - share) / count + spread / (4.0 * count))
    return (
        round(max((middle - half) / (1.0 + spread), 0.0), 4),
        round(min((middle + half) / (1.0 + spread), 1.0), 4),
    )


def chart(found: Mapping[str, Any], width: int = 30) -> list[str]:
    """The checks to the first decision of each kind, and claimed against right, as lines."""
    lines = []
    for kind, row in found.items():
        if kind == "calibration" or not row["histogram"]:
            continue
        lines.append(f"{kind}: checks to the first decision")
        most = max(bar["cases"] for bar in row["histogram"])
        for bar in row["histogram"]:
            drawn = "█" * round(width * bar["cases"] / most)
            lines.append(f"  {bar['checks']:3d} {drawn} {bar['cases'] or ''}".rstrip())
    if found["calibration"]:
        lines.append("claimed | right")
    for row in found["calibration"]:
        bar = "█" * round(width * row["right"])
        lines.append(
            f"  {100 * row['claimed']:5.1f} % | {100 * row['right']:5.1f} % "
            f"({100 * row['low']:.0f} to {100 * row['high']:.0f}) of {row['cases']:3d} {bar}"
        )
    return lines


def _share(some: Sequence[Record], test: Callable[[Record], bool]) -> float:
    return round(sum(test(r) for r in some) / len(some), 4) if some else 0.0


def _mean(values: Sequence[float]) -> float:
    return round(sum(values) / len(values), 3) if values else 0.0
