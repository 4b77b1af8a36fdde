"""A reading of this machine, to show how one is written."""

from __future__ import annotations

from halfsplit.assembly.model import Assembly

PLAIN = "n12=-12.04"  # where no rail says what it should read


def reading_example(assembly: Assembly) -> str:
    """Such as "p12=12.00", of the first rail with limits: the middle of them."""
    for rail in assembly.rails.values():
        if rail.limits is not None:
            return f"{rail.net}={(rail.limits.low + rail.limits.high) / 2.0:.2f}"
    return PLAIN


def net_example(assembly: Assembly) -> str:
    """The net of that."""
    return reading_example(assembly).partition("=")[0]
