"""What readings told of each set of faults, kept: a further reading is learnt on top of it.

Sets hardly bear on each other (of the stories of slips as many are kept as any of a list has worth
keeping), so what was worked out of one holds whatever it is listed with.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field

import numpy as np

from halfsplit.diagnosis.evidence import Evidence
from halfsplit.diagnosis.order import heaviest_first
from halfsplit.diagnosis.posterior import Belief
from halfsplit.faults.hypotheses import Hypothesis, sizes_shared

BARE = 2  # hypotheses without faults, at the head of every list
# Bytes of what is kept of one stage: of the tray some 4,000 sets at 14 readings, 1,200 at 32, for
# each reading makes a set's share longer. Where more were asked about, the lightest are learnt anew
# should they be asked about again.
KEPT = 64_000_000


@dataclass
class _Stage:
    """Sets that have learnt the same readings, and which row of the belief is whose."""

    version: Hashable = None
    read: tuple[Evidence, ...] = ()
    belief: Belief | None = None
    row: dict[Hashable, int] = field(default_factory=dict)

    def leads_to(self, version: Hashable, read: tuple[Evidence, ...]) -> bool:
        """Whether those readings are these and perhaps more."""
        return version == self.version and read[: len(self.read)] == self.read

    def trim(self) -> None:
        """Let go of the lightest sets where there are too many."""
        size = self.belief.stories.nbytes if self.belief is not None else 0
        if self.belief is None or size <= KEPT:
            return
        order = heaviest_first(self.belief.log_weight[BARE:]) + BARE
        kept = np.sort(order[: int(len(order) * KEPT / size)])
        at = {int(row): BARE + i for i, row in enumerate(kept)}
        self.row = {k: at[row] for k, row in self.row.items() if row in at}
        self.belief = self.belief.part([0, 1, *at])


class Weighed:
    """Beliefs over sets of faults after the readings of a journal."""

    def __init__(
        self,
        fresh: Callable[[Sequence[Hypothesis]], Belief],
        learn: Callable[[Belief, Sequence[Hypothesis], Sequence[Evidence]], None],
    ) -> None:
        """`fresh` gives a belief that has learnt nothing, `learn` takes readings into one."""
        self._fresh, self._learn = fresh, learn
        self._before, self._now = _Stage(), _Stage()

    def belief(
        self,
        listed: Sequence[Hypothesis],
        keys: Sequence[Hashable],
        read: tuple[Evidence, ...],
        version: Hashable,
    ) -> Belief:
        """Belief over `listed`, those without faults first, after the readings `read`.

        `keys` tell sets apart by what they read, `version` what else predictions hang on.
        """
        now = self._now
        if (now.version, now.read) != (version, read):
            # A stage nothing was learnt in, as the work was stopped, leaves the one before it.
            last = now if now.belief is not None else self._before
            last.trim()
            self._before = last if last.leads_to(version, read) else _Stage()
            now = self._now = _Stage(version, read)
        now.trim()
        before = self._before
        new = {keys[i]: i for i in range(BARE, len(listed)) if keys[i] not in now.row}
        known = [i for k, i in new.items() if k in before.row]
        first = [i for k, i in new.items() if k not in before.row]
        for some, start in ((known, before), (first, _Stage())):
            if some or now.belief is None:
                few = [*listed[:BARE], *(listed[i] for i in some)]
                made = self._from(start, few, [keys[i] for i in some])
                learnt = 0 if start.belief is None else len(start.read)
                self._learn(made, few, read[learnt:])
                self._keep(made, [keys[i] for i in some])
        assert now.belief is not None
        rows = [0, 1, *(now.row[k] for k in keys[BARE:])]
        return _with_priors(now.belief.part(rows), sizes_shared(listed))

    def _from(self, start: _Stage, few: Sequence[Hypothesis], keys: Sequence[Hashable]) -> Belief:
        if start.belief is None:
            return self._fresh(few)
        found = start.belief.part([0, 1, *(start.row[k] for k in keys)])
        return _with_priors(found, [h.prior for h in few])

    def _keep(self, made: Belief, keys: Sequence[Hashable]) -> None:
        now = self._now
        count = BARE if now.belief is None else len(now.belief.prior)
        now.belief = made if now.belief is None else now.belief.joined(made)
        now.row |= {k: count + i for i, k in enumerate(keys)}


def _with_priors(belief: Belief, priors: Sequence[float]) -> Belief:
    """With the priors these sets have now: what one takes along may be known by another feed."""
    prior = np.array(priors)
    belief.log_weight += np.log(np.maximum(prior, 1e-300)) - np.log(
        np.maximum(belief.prior, 1e-300)
    )
    belief.prior = prior
    return belief
