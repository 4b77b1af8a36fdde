"""How the suspicion moved, entry by entry: who led, who rose, who was dropped and by what."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from halfsplit.bench.noted import noted_of
from halfsplit.bench.session import Session
from halfsplit.bench.words import entry_words
from halfsplit.diagnosis.groups import fold
from halfsplit.diagnosis.search import fit

# Weight from which somebody counts as a suspect, and below which one that was is dropped.
SUSPECT, DROPPED = 0.05, 0.005
WEIGHED = ("read", "observe", "prove", "condition")


@dataclass(frozen=True)
class Step:
    """What one journal entry did.

    Attributes
    ----------
    number: of the entry; `words` what it says.
    lead: the leading suspects after it (names that nothing tells apart), with their joint weight.
    before: that weight before it.
    dropped: suspects it ended, each with the reading that speaks against it.
    """

    number: int
    words: str
    lead: tuple[str, ...]
    weight: float
    before: float
    dropped: tuple[tuple[str, str], ...]

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return asdict(self)


def trail(session: Session, last: int | None = None) -> list[Step]:
    """Every entry that weighs, in order; of a long journal the `last` few.

    Each step is the whole sum with the entries up to it, so it says what was believed then.
    """
    entries = [e for e in session.entries if e.kind in WEIGHED]
    first = 0 if last is None else max(len(entries) - last, 0)
    steps = []
    try:
        previous = _weights(session, entries[first - 1].seq) if first else {}
        for entry in entries[first:]:
            now = _weights(session, entry.seq)
            groups = session.groups()
            if not groups:
                continue
            names = tuple(dict.fromkeys(session.hypotheses[i].name for i in groups[0].members))
            gone = [n for n, w in previous.items() if w >= SUSPECT and now.get(n, 0.0) < DROPPED]
            steps.append(
                Step(
                    entry.seq,
                    entry_words(session.assembly, entry),
                    names,
                    groups[0].weight,
                    max((previous.get(n, 0.0) for n in names), default=0.0),
                    tuple((n, _against(session, n)) for n in gone),
                )
            )
            previous = now
    finally:
        session.until = None
    return steps


def weights_over(session: Session, most: int = 24) -> list[tuple[int, str, dict[str, float]]]:
    """After entries that weigh: number, words, and weight by suspect.

    Each is the whole sum anew, so of a long journal `most` are looked at, evenly, the last always.
    """
    entries = [e for e in session.entries if e.kind in WEIGHED]
    step = max((len(entries) - 1) / max(most - 1, 1), 1.0)
    chosen = sorted({len(entries) - 1 - round(k * step) for k in range(most)})
    found = []
    try:
        for entry in (entries[k] for k in chosen if k >= 0):
            session.until = entry.seq
            # Each suspect's own weight; sets told once, as the least of them.
            own = fold(session.hypotheses, session.belief.weights(), fit(session.belief))
            named = zip(session.hypotheses, own, strict=True)
            weights = {h.name: float(w) for h, w in named if w >= DROPPED}
            found.append((entry.seq, entry_words(session.assembly, entry), weights))
    finally:
        session.until = None
    return found


def _weights(session: Session, number: int) -> dict[str, float]:
    """Weight of every suspect by name after the entries up to a number."""
    session.until = number
    found: dict[str, float] = {}
    for group in session.groups():
        for i in group.members[:3]:  # a large group is nobody in particular
            name = session.hypotheses[i].name
            found[name] = max(found.get(name, 0.0), group.weight)
    return found


def _against(session: Session, name: str) -> str:
    """The last reading, verdict or sign that speaks against a suspect."""
    names = [h.name for h in session.hypotheses]
    if name not in names:
        return "nothing it explains is left"
    index = names.index(name)
    told = [(r.evidence.number, r.verdict, r.words) for r in session.reasons(index)]
    told += [(n.of.number, n.verdict, n.words) for n in noted_of(session, [index])[index]]
    odd = [(number, words) for number, verdict, words in told if verdict == "contradicts"]
    return max(odd)[1] if odd else "another explains the readings better"
