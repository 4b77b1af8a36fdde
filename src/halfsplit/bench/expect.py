"""What a healthy machine should read in given conditions, with the band its tolerances allow."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.bench.beating import Beat, beat
from halfsplit.bench.markings import marked_fuses
from halfsplit.bench.named_meter import with_ac_range
from halfsplit.bench.session import Session
from halfsplit.bench.warmth import heat_notes
from halfsplit.circuit.netlist import Overrides
from halfsplit.diagnosis import swing
from halfsplit.diagnosis.evidence import Evidence, Quantity
from halfsplit.diagnosis.meters import Floats, scope_error
from halfsplit.diagnosis.posterior import Belief
from halfsplit.faults.dictionary import predict
from halfsplit.faults.loaded import WORTH_ASKING, load
from halfsplit.faults.melting import blown
from halfsplit.faults.predictions import ADRIFT, Predictions
from halfsplit.problems import Problem, ProblemsError

# Share of a rail from which it is told that the meter moves it; common practice.
DISTURBED = 0.005
# From the end of a 90 % interval to that of two sigma, for a Gaussian (2 / 1.645).
TWO_SIGMA = 1.216


@dataclass(frozen=True)
class Line:
    """One expected reading: mean and band [V], ripple peak to peak and lowest instant [V].

    Of volts between two nets all are of the difference, red lead on `net`.
    """

    name: str
    net: str
    condition: Condition
    mean: float
    low: float
    high: float
    ripple: float
    valley: float
    status: str
    adrift: bool
    # Rails the meter itself moves, and by how much [V].
    disturbs: tuple[tuple[str, float], ...] = ()
    note: str = ""  # that tolerances decide between two readings, and which
    # What the meter shows on its AC range [V], None if it has none; what a counter shows [Hz].
    ac: float | None = None
    hertz: float | None = None
    # Other states this machine could rest in, in words; the same for every line of a condition.
    also: tuple[str, ...] = ()
    # Fuses that open before long, in words, and mean volts once they have [V], None if not solved.
    fuses: str = ""
    left: float | None = None
    against: str = ""  # net the black lead is on, "" for common
    off_scale: str = ""  # that the meter's scale ends below the reading, in words
    beat: Beat | None = None  # of a machine that beats by itself; the same for every line

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``; a net adrift or a row not solved has null readings."""
        usable = not self.adrift and bool(np.isfinite(self.mean))
        # Between two nets it goes by their waves, which are not kept of what did not settle.
        swings = usable and bool(np.isfinite(self.ripple))
        return {
            "name": self.name,
            "net": self.net,
            "against": self.against,
            "condition": self.condition.as_dict(),
            "mean": self.mean if usable else None,
            "low": self.low if usable else None,
            "high": self.high if usable else None,
            "ripple": self.ripple if swings else None,
            "ripple_error": scope_error(self.ripple) if swings else None,
            "ac": self.ac if usable else None,
            "hertz": self.hertz if usable else None,
            "valley": self.valley if swings else None,
            "duty": self.beat.duty if self.beat else None,
            "choke_peaks": dict(self.beat.peaks) if self.beat else {},
            "also_stable": list(self.also),
            "disturbs": dict(self.disturbs),
            "off_scale": self.off_scale if usable else "",
            "note": self.note,
            "fuses": self.fuses,
            "left": self.left,
            "status": "adrift: nothing holds this net" if self.adrift else self.status,
        }


def expect(
    session: Session,
    names: Sequence[str],
    conditions: Sequence[Condition],
    faults: Overrides | None = None,
    *,
    others: bool = True,
    first: Callable[[list[Line]], None] | None = None,
) -> list[Line]:
    """Expected readings, net by net in each condition. Every probe net when no name is given.

    A name may be a pair, ``p1:p12``: volts between two nets, the red lead on the first.
    With `faults` (see :mod:`halfsplit.assembly.script`) they are those of that specimen. Unless
    `others`, other states it could rest in are left for whoever asks to look for.

    Bands hold what nineteen good specimens in twenty read, by tolerances, supply and the meter in
    use; a reading that tolerances decide between two states says so in its note. Where they take
    minutes, because the machine keeps time by itself and nobody asked before, `first` is called
    with the readings of each such condition before any band is worked out.
    """
    leads = [(n, *_leads(session, n)) for n in names]
    leads = leads or [(session.assembly.net_label(n), n, "") for n in session.probe_nets()]
    laid, moves = faults or {}, session.dictionary.moves
    tables: dict[Condition, Predictions] = {}
    for condition in dict.fromkeys(conditions):
        table = predict(session.machine, condition, [laid], moves=moves)
        tables[condition] = table
        if first and session.dictionary.slopes_ahead(condition, table):
            first([_bare(session, table, condition, n, pair) for n, *pair in leads])
    found = []
    for condition in conditions:
        table = session.dictionary.sloped(condition, tables[condition], session.progress)
        asked = list(dict.fromkeys(net for _, *pair in leads for net in pair if net))
        drawn = session.draws.spreads.drawn(condition, [laid], table, [0], asked)
        table = table.with_draws(drawn, table.nets)
        beats = beat(session.machine, condition, laid, int(table.status[0]))
        warm = heat_notes(session.machine, condition, laid, table)
        also = session.also_stable([laid], condition)[0] if others else ()
        marked = {} if faults else marked_fuses(session)
        opening, after = blown(session.machine, condition, laid, table, marked)
        words = ", then ".join(o.words for o in opening)
        for name, net, against in leads:
            line = _line(session, table, condition, name, (net, against), laid)
            heated = warm.get(net, ""), warm.get(against, "")
            note = "; ".join(n for n in (line.note, *heated) if n)
            left = None if after is None else _finite(_volts(after, net, against))
            found.append(replace(line, note=note, also=also, fuses=words, left=left, beat=beats))
    return found


def healthy_swing(
    session: Session, quantity: Quantity, leads: tuple[str, str], condition: Condition
) -> tuple[float, float, float]:
    """Mean, lowest and highest ripple, AC range [V] or frequency [Hz] of a healthy machine, as a
    check of it is judged.

    Raises ProblemsError where the meter in use has no AC range or nothing is there to be counted.
    """
    (net, against), meter = leads, session.meter
    if quantity == "ac":
        with_ac_range(meter, net, "--kind digital")
    against = "" if against == session.assembly.common else against
    moves = session.dictionary.moves
    table = predict(session.machine, condition, [{}], moves=moves)
    probe = Evidence(net, against, quantity, np.nan, 0.01, condition, meter)
    told = Belief([1.0], len(moves), 0, 0, session.book.owners).expect(table, probe)
    if not told.known[0]:
        wrong = f"no {quantity} is known of a healthy machine that is {condition.words()}"
        raise ProblemsError([Problem("", 0, 0, net, wrong, "another net, feed or load")])
    mean, half = float(told.mean[0]), 2.0 * float(told.sigma[0])
    if quantity == "frequency":
        return float(np.exp(mean)), float(np.exp(mean - half)), float(np.exp(mean + half))
    return mean, max(mean - half, 0.0), mean + half


def _leads(session: Session, name: str) -> tuple[str, str]:
    """Nets of the red and the black lead, "" for common, by a name typed: p5, or p1:p12."""
    red, sign, black = name.partition(":")
    if not sign or session.assembly.find_net(name) is not None:
        return session.net(name), ""
    if not red or not black:
        raise ProblemsError([Problem("", 0, 0, name, "names one lead of two", "p1:p12")])
    pair = session.net(red), session.net(black)
    if pair[0] == pair[1]:
        wrong = "both probes would be on one net"
        raise ProblemsError([Problem("", 0, 0, name, wrong, "two different nets")])
    return pair[0], "" if pair[1] == session.assembly.common else pair[1]


def _volts(table: Predictions, net: str, against: str) -> Floats:
    """Mean volts between two nets in each row [V] (H)."""
    return np.asarray(table.mean[:, table.column(net)] - table.mean[:, table.column(against)])


def _line(
    session: Session,
    table: Predictions,
    condition: Condition,
    name: str,
    leads: tuple[str, str],
    faults: Overrides,
) -> Line:
    net, against = leads
    i, j = table.column(net), table.column(against)
    source = float(table.ohms[0, i] + table.ohms[0, j])
    stood = float(_volts(table, net, against)[0])
    ohms = session.meter.input_ohms(float(np.nan_to_num(stood)))
    bare, moves, each = table, session.dictionary.moves, np.array([ohms])
    table = load(
        session.machine, condition, [faults], moves, bare, net, against, each, least=WORTH_ASKING
    )
    line = _bare(session, table, condition, name, leads)
    mean, disturbs = line.mean, []
    for label, rail in session.assembly.rails.items():
        k = table.column(rail.net)
        change = float(table.mean[0, k] - bare.mean[0, k])
        moved = abs(change) > max(DISTURBED * abs(float(bare.mean[0, k])), 0.01)
        if rail.net not in leads and moved:
            disturbs.append((label, change))
    own = 2 * session.meter.sigma(mean, 0.01)
    if against:  # two nets may stand at nearly the same volts, and their ratio then tells nothing
        ends, scale = session.draws.spreads.between(table, 0, i, j), ohms / (ohms + source)
    else:
        ends = session.draws.spreads.band(table, 0)[:, i]
        scale = mean / stood if stood else 1.0
    scale = 1.0 if table.loaded is not None and 0 not in table.drawn else scale
    below, above = (TWO_SIGMA * scale * float(end) for end in ends)
    return replace(
        line,
        low=mean - float(np.hypot(min(below, above, 0.0), own)),
        high=mean + float(np.hypot(max(below, above, 0.0), own)),
        disturbs=tuple(disturbs),
        note=bare.bistable(0, net, against),
    )


def _bare(
    session: Session,
    table: Predictions,
    condition: Condition,
    name: str,
    leads: Sequence[str],
) -> Line:
    """The reading alone, without a band; where the meter is not in the table, by its divider."""
    net, against = leads
    i, j = table.column(net), table.column(against)
    mean = float(_volts(table, net, against)[0])
    source = float(table.ohms[0, i] + table.ohms[0, j])
    if table.loaded is None:
        ohms = session.meter.input_ohms(float(np.nan_to_num(mean)))
        mean *= ohms / (ohms + source)
    valley = table.instants(0, i, j).min() if against else table.low[0, i]
    return Line(
        name,
        net,
        condition,
        mean,
        np.nan,
        np.nan,
        float(swing.height(table, i, j)[0]),
        float(valley),
        table.told(0),
        source > ADRIFT,
        ac=_finite(swing.shown(table, session.meter, i, j)) if session.meter.ac else None,
        hertz=_finite(swing.frequency(table, i, j)),
        against=against,
        off_scale=session.meter.off_scale(mean),
    )


def _finite(values: Floats) -> float | None:
    return float(values[0]) if np.isfinite(values[0]) else None
