"""What the readings of one reforming say so far: trend, predicted end, and when to stop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from halfsplit.bringup.reform import WARM, Plan
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

RISES = 1.2  # times the reading before, at the same volts, that counts as rising; common practice
SAME = 0.02  # of the volts within which two readings are at the same setting
FLAT = 0.95  # of the reading before above which it no longer falls
AT_GOAL = 0.95  # of the target volts across the capacitor that counts as there
WIDTH, HEIGHT = 48, 10  # characters of the plot


@dataclass(frozen=True)
class Formed:
    """One reading: seconds since the first, volts across the capacitor, amps into it."""

    seconds: float
    volts: float
    amps: float

    @property
    def watts(self) -> float:
        """Heat in the can [W]."""
        return self.volts * self.amps


def judge(plan: Plan, log: Sequence[Formed]) -> dict[str, Any]:
    """State of the reforming: `go-on`, `stop`, `reject` or `done`, with the reason in words.

    The first rule that speaks decides; `stop` and `reject` come before `done`.
    """
    if not log:
        return {"state": "go-on", "why": "nothing entered yet", "predicted_seconds": None}
    last = log[-1]
    same = [r for r in log if abs(r.volts - last.volts) <= SAME * max(last.volts, 1.0)]
    predicted = predicted_end(same, plan.leakage_limit)
    at_goal = [r for r in log if r.volts >= AT_GOAL * plan.target]
    held = at_goal[-1].seconds - at_goal[0].seconds if at_goal else 0.0

    def told(state: str, why: str) -> dict[str, Any]:
        return {
            "state": state,
            "why": why,
            "held": held,
            "watts": last.watts,
            "predicted_seconds": predicted,
        }

    if last.watts > WARM:
        return told(
            "stop", f"it takes {show(last.watts, 'W', 2)}, over {WARM:g} W: it heats itself"
        )
    if last.amps > plan.most_amps:
        amps = show(plan.most_amps, "A", 2)
        return told("stop", f"{show(last.amps, 'A', 2)} is over {amps}: lower the supply")
    if len(same) > 1 and same[-1].amps > RISES * same[-2].amps and same[-2].amps > 0:
        return told(
            "stop",
            f"at {volts(last.volts)} it rose from {show(same[-2].amps, 'A', 2)} to "
            f"{show(last.amps, 'A', 2)}: lower the supply, let it cool, and try once more",
        )
    if at_goal and held >= plan.hold and last.amps <= plan.leakage_limit:
        return told(
            "done",
            f"{show(last.amps, 'A', 2)} at {volts(last.volts)}, within "
            f"{show(plan.leakage_limit, 'A', 2)} ({plan.leakage_source}), held "
            f"{held / 60:.0f} min",
        )
    tail = same[-3:]
    flat = len(tail) == 3 and all(b.amps >= FLAT * a.amps for a, b in pairwise(tail))
    if at_goal and held >= plan.hold and flat:
        return told(
            "reject",
            f"it stands at {show(last.amps, 'A', 2)}, over "
            f"{show(plan.leakage_limit, 'A', 2)}, and no longer falls: replace it",
        )
    if not at_goal and flat:
        return told("go-on", "the current no longer falls here: raise to the next step")
    left = max(plan.hold - held, 0.0)
    why = f"hold {left / 60:.0f} min more" if at_goal and left else "let it settle"
    return told("go-on", why)


def dropped(plan: Plan, log: Sequence[Formed], limit: float) -> str:
    """Why the rule of the series drop rejects it after an hour; "" where it does not.

    `limit` is the share of the supply the resistor may still drop.
    """
    if not log or log[-1].seconds < 3600.0:
        return ""
    drop = log[-1].amps * plan.ohms
    share = drop / (drop + log[-1].volts) if drop + log[-1].volts > 0 else 0.0
    if share <= limit:
        return ""
    return f"after an hour the resistor still drops {share:.0%} of the supply, over {limit:.0%}"


def predicted_end(same: Sequence[Formed], limit: float) -> float | None:
    """Seconds from the first reading at which leakage at this setting falls to `limit` [A].

    A line through the logarithm of the current; None where it does not fall, or is there.
    """
    used = [r for r in same if r.amps > 0]
    if len(used) < 3 or used[-1].amps <= limit:
        return None
    slope, start = np.polyfit([r.seconds for r in used], [math.log(r.amps) for r in used], 1)
    return float((math.log(limit) - start) / slope) if slope < 0 else None


def plot(log: Sequence[Formed], limit: float) -> list[str]:
    """Current against time as text, logarithmic, the limit as a line of dashes."""
    shown = [r for r in log if r.amps > 0]
    if len(shown) < 2:
        return []
    logs = [math.log10(r.amps) for r in shown] + [math.log10(limit)]
    low, high = min(logs), max(logs)
    span = max(high - low, 0.1)
    end = max(shown[-1].seconds, 1.0)
    grid = [[" "] * WIDTH for _ in range(HEIGHT)]

    def line(value: float) -> int:
        return round((high - value) / span * (HEIGHT - 1))

    grid[min(line(math.log10(limit)), HEIGHT - 1)] = ["-"] * WIDTH
    for r in shown:
        grid[min(line(math.log10(r.amps)), HEIGHT - 1)][
            min(int(r.seconds / end * (WIDTH - 1)), WIDTH - 1)
        ] = "*"
    found = []
    for i, row in enumerate(grid):
        level = 10 ** (high - span * i / (HEIGHT - 1))
        label = show(level, "A", 2) if i in (0, HEIGHT - 1) else ""
        found.append(f"{label:>8} |{''.join(row)}")
    return [*found, f"{'':>8} 0{show(end, 's', 2):>{WIDTH}}", "--- limit"]
