"""The circuit as it is: the drawing with what somebody found fitted instead laid into it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from halfsplit.assembly.condition import Change, refit
from halfsplit.assembly.model import Assembly

Marked = Mapping[str, tuple[tuple[str, str], ...]]


def as_it_is(assembly: Assembly, found: Marked, touched: Iterable[str] = ()) -> Assembly:
    """The assembly with parts of other markings in their places, those of the drawing kept aside.

    `found` maps parts to fields and values read from them; `touched` are parts somebody noted as
    worked on before. Raises ProblemsError when a marking makes no part.
    """
    parts, drawn = dict(assembly.parts), {}
    for ref in touched:
        if parts[ref].touched is None:
            parts[ref] = parts[ref].model_copy(update={"touched": "noted at the bench"})
    for ref, values in found.items():
        drawn[ref] = parts[ref]
        parts[ref] = refit(parts[ref], Change(ref, "fitted", "", values))
    return replace(assembly, parts=parts, drawn=drawn) if found or touched else assembly
