"""The verbs of the bench, the same for every face: open, expect, read, change, suspect, next.

Belongs here: putting machine, journal and diagnosis together. Does not belong here: printing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from halfsplit.bench.session import Session
    from halfsplit.diagnosis.explain import Suspect, SuspectGroup

__all__ = ["Session", "Suspect", "SuspectGroup"]


def __getattr__(name: str) -> Any:
    """Load the solver only for who asks for it: a list of machines needs none of it."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from halfsplit.bench import session

    return getattr(session, name)
