"""Drive Halfsplit from Python: one class, plain values in and out.

    with open_bench("supply.yaml") as bench:
        bench.condition(feed="bench", load="full")
        bench.read("p9", "0.62")
        print(bench.suspects()[0])
        print(bench.propose()[0])
        bench.change("CR1 fitted")

Belongs here: what a program at the bench calls, and the words it is refused in.
Does not belong here: anything the command line does not do by the same verbs.

Everything read or done is on disk, in the journal beside the file, before a call returns, and what
is refused leaves nothing there. Problems raise :class:`HalfsplitError` and its subclasses, with
what to write instead. Values are SI; lengths of time seconds, shares fractions of one.
"""

from halfsplit.api.bench import Bench, open_bench
from halfsplit.api.entering import QUANTITIES
from halfsplit.api.told import Explanation, Healthy, PartWeight, Proposal, Reason
from halfsplit.bench.trail import Step
from halfsplit.problems import HalfsplitError, NotFoundError, Problem, ProblemsError

__all__ = [
    "QUANTITIES",
    "Bench",
    "Explanation",
    "HalfsplitError",
    "Healthy",
    "NotFoundError",
    "PartWeight",
    "Problem",
    "ProblemsError",
    "Proposal",
    "Reason",
    "Step",
    "open_bench",
]
