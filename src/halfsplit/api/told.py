"""What is told to a program: plain records of suspects, reasons, checks and expectations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple


@dataclass(frozen=True)
class Explanation:
    """One set of faults, or several that nothing read so far tells apart.

    Attributes
    ----------
    faults: names of the heaviest set, such as ("C4 short", "R3 open"); empty for none.
    alternatives: names of the other sets of the group.
    weight: chance of the group, all readings taken into account, 0 to 1.
    parts: references the heaviest set blames.
    name: the heaviest set in words, "no fault" wherever the group holds it; tells that from
        "something not in this model".
    done: those of its parts that were replaced since.
    """

    faults: tuple[str, ...]
    alternatives: tuple[str, ...]
    weight: float
    parts: tuple[str, ...]
    name: str = ""
    done: tuple[str, ...] = ()


@dataclass(frozen=True)
class Reason:
    """One reading held against one set of faults.

    Attributes
    ----------
    entry: number of the reading.
    at, other: nets of the red and the black lead, "" for common.
    quantity: as of :class:`Proposal`, or "amps".
    condition: what the machine was in, in words.
    read: what was read [V, ohm, Hz or A]; infinite for OL.
    predicted: what the set would make it read, likewise; NaN where nothing can be said.
    sigma: one standard deviation of that, meter and tolerances together [V or A]; of ohms and
        frequency it is a share, 0.1 for a tenth.
    verdict: "supports", "neutral", "contradicts" or "says nothing".
    words: all of it in a sentence.
    """

    entry: int
    at: str
    other: str
    quantity: str
    condition: str
    read: float
    predicted: float
    sigma: float
    verdict: str
    words: str


@dataclass(frozen=True)
class Proposal:
    """One check worth making.

    Attributes
    ----------
    quantity: "volts", "ripple" (peak to peak), "ac", "frequency", "ohms", "diode", or "look" (at a
        part).
    at, other: net of each probe, "" for common; for a look `at` is the part.
    feed, load: what to set first, as typed to :meth:`Bench.condition`.
    before: lead to lift or part to replace first, as typed to :meth:`Bench.change`; "" for none.
    healthy: lowest and highest reading of a healthy machine [V, ohm or Hz]; None if it has none.
    bits: expected information [bit]; `minutes` what it takes, hazards counted as time.
    leaves: for each outcome, lowest and highest reading, its chance, and the sets it would leave;
        infinite for OL, NaN where the outcome is no reading.
    says: the same outcomes in words, such as "4.95 V to 5.05 V", "as drawn", "adrift".
    meter: ohmmeter profile to name to :meth:`Bench.read`; "" for any other check.
    where: where the red probe goes, such as "C1 lead pos"; "" for a look.
    caution: what may hurt there, with numbers; "" where the program knows of nothing, which is no
        promise.
    """

    quantity: str
    at: str
    other: str
    feed: str
    load: str
    before: str
    healthy: tuple[float, float] | None
    bits: float
    minutes: float
    leaves: tuple[tuple[float, float, float, tuple[str, ...]], ...]
    says: tuple[str, ...] = ()
    meter: str = ""
    where: str = ""
    caution: str = ""


class Healthy(NamedTuple):
    """What a healthy machine reads: mean, lowest and highest [V, ohm or Hz], infinite for OL.

    Nineteen good specimens in twenty read between the two, by tolerances, supply and meter.
    """

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class PartWeight:
    """How suspect a part is before anything is read.

    Attributes
    ----------
    chance: that it is bad or wrong, 0 to 1; `odds` the same as odds.
    why: what that number is made of, in words.
    """

    part: str
    kind: str
    chance: float
    odds: float
    why: tuple[str, ...]
