"""What is assumed of a machine before anything is read, in words and as data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from halfsplit.faults.cascades import RAN_ON
from halfsplit.faults.how_many import how_many
from halfsplit.faults.hypotheses import Hypothesis

if TYPE_CHECKING:
    from halfsplit.bench.reasoning import Reasoner


def shares_said(listed: Sequence[Hypothesis]) -> str:
    """Shares of machines by number of faults, and how many ran on with the first."""
    at = how_many(listed)
    told = [
        f"{100.0 * share:.0f} % {what}"
        for what, share in (
            ("no fault", at.none),
            ("one", at.one),
            ("two", at.two),
            ("more", at.more),
            ("something not in this file", at.unmodelled),
        )
    ]
    return (
        f"Of machines brought to a bench: {', '.join(told)}; parts are taken to fail each by "
        "itself (common practice, no published source). Where one fault overstresses another part, "
        f"{100.0 * RAN_ON:.0f} % ran on long enough for it to follow (from memory, unconfirmed)."
    )


def shares_dict(listed: Sequence[Hypothesis]) -> dict[str, float]:
    """The same for ``--json``."""
    return {**how_many(listed)._asdict(), "ran_on": RAN_ON}


def prior_rows(bench: Reasoner) -> list[dict[str, Any]]:
    """How suspect each part is before any reading: its odds and what they are made of, most suspect
    first."""
    found: dict[str, dict[str, Any]] = {}
    for h in bench.standard:
        for fault in h.faults:
            kind = bench.assembly.parts[fault.part].KIND
            row = found.setdefault(
                fault.part, {"part": fault.part, "kind": kind, "odds": 0.0, "why": []}
            )
            row["odds"] += fault.odds
            if fault.why not in row["why"]:
                row["why"].append(fault.why)
    return sorted(found.values(), key=lambda r: -r["odds"])
