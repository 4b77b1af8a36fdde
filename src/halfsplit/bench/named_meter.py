"""The meter a person names: a shipped one, by its figures, or the one in use on another scale."""

from __future__ import annotations

from dataclasses import replace

from halfsplit.diagnosis.meters import Meter, meters
from halfsplit.problems import NotFoundError, Problem, ProblemsError
from halfsplit.quantity import QuantityError, parse


def named_meter(
    now: Meter,
    ohms: str | None = None,
    accuracy: str | None = None,
    counts: float | None = None,
    of_range: str | None = None,
    scale: str | None = None,
    kind: str | None = None,
) -> Meter:
    """A shipped `kind` with what differs; without one, figures are those of a plain digital meter.

    Figures typed from a meter's label say nothing of the meter that lay there before: its range
    and its AC law would stay behind unseen. A `scale` alone is a switch turned on the
    meter in use, `now`.
    Raises ProblemsError on a value that cannot be read, NotFoundError for an unknown kind.
    """
    known = meters()
    if kind is not None and kind not in known:
        raise NotFoundError(f"there is no meter {kind}; there are {', '.join(known)}")
    figures = any(given is not None for given in (ohms, accuracy, counts, of_range))
    if kind is not None or figures:
        now = known[kind or "digital"]
    try:
        now = replace(
            now,
            ohms=parse(ohms, "ohm") if ohms else now.ohms,
            sensitivity=0.0 if ohms else now.sensitivity,
            fraction=parse(accuracy, "%") if accuracy else now.fraction,
            counts=now.counts if counts is None else counts,
            full_scale=parse(of_range, "%") if of_range else now.full_scale,
            range_volts=parse(scale, "V") if scale else now.range_volts,
        )
    except QuantityError as error:
        raise ProblemsError([Problem("", 0, 0, "", str(error))]) from error
    wrong = "no meter is like that"
    for name, good, instead in (
        ("ohms", 1e3 <= now.ohms <= 1e15, "--ohms 10M"),
        ("accuracy", 0 <= now.fraction < 1, "--accuracy 0.5%"),
        ("counts", 0 <= now.counts <= 1000, "--counts 2"),
        ("of-range", 0 <= now.full_scale < 1, "--of-range 3%"),
        ("scale", not scale or 0 < now.range_volts <= 1e5, "--scale 25V"),
    ):  # wide of any meter ever on a bench; common practice, no published source
        if not good:
            raise ProblemsError([Problem("", 0, 0, name, wrong, instead)])
    if now.full_scale and not now.range_volts and not now.ranges:
        wrong = "a share of full scale, of a meter whose scales are not known"
        raise ProblemsError([Problem("", 0, 0, "of-range", wrong, "--kind pointer-20k or --scale")])
    return now


def with_ac_range(meter: Meter, where: str, instead: str) -> None:
    """Raise ProblemsError when the meter in use cannot read AC."""
    if not meter.ac:
        wrong = f"the meter in use, {meter.name}, has no AC range here"
        raise ProblemsError([Problem("", 0, 0, where, wrong, instead)])
