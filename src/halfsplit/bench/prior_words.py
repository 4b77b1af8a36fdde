"""What is assumed of a machine before anything is read, in words and as data."""

from __future__ import annotations

from collections.abc import Sequence

from halfsplit.faults.cascades import RAN_ON
from halfsplit.faults.how_many import how_many
from halfsplit.faults.hypotheses import Hypothesis


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
