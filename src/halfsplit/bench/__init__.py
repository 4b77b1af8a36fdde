"""The verbs of the bench, the same for every face: open, expect, read, change, suspect, next.

Belongs here: putting machine, journal and diagnosis together. Does not belong here: printing.
"""

from halfsplit.bench.session import Session, Suspect, SuspectGroup

__all__ = ["Session", "Suspect", "SuspectGroup"]
