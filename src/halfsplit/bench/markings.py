"""Fuses as they are marked, where somebody read them otherwise than drawn."""

from __future__ import annotations

from halfsplit.assembly.condition import Change, refit
from halfsplit.bench.session import Session
from halfsplit.parts.kinds.fuse import Fuse


def marked_fuses(bench: Session) -> dict[str, Fuse]:
    """Fuses read otherwise than drawn, as they are marked; those fitted since left out."""
    done = bench.condition.fitted
    found = {}
    for ref, values in bench.found_values().items():
        drawn = bench.assembly.parts[ref]
        if isinstance(drawn, Fuse) and ref not in done:
            fuse = refit(drawn, Change(ref, "fitted", "", values))
            assert isinstance(fuse, Fuse)
            found[ref] = fuse
    return found
