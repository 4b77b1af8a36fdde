"""What pictures show of one machine: taken from its journal and its solved circuit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Condition
from halfsplit.assembly.model import Assembly, LoadValue
from halfsplit.bench import bringing
from halfsplit.bench.gating import map_of, proofs_of
from halfsplit.bench.session import Session
from halfsplit.bench.trail import weights_over
from halfsplit.boards.capture import read_capture
from halfsplit.bringup import overcurrent
from halfsplit.bringup.ladder import full_amps
from halfsplit.faults.dictionary import predict
from halfsplit.faults.predictions import UNCLAIMED
from halfsplit.pictures import series
from halfsplit.pictures.blocks import by_block, chosen
from halfsplit.pictures.choice import Choice, neighbourhood, whole
from halfsplit.pictures.circuit import circuit_svg, noted, sheet_svg
from halfsplit.pictures.kept import keep, places_in
from halfsplit.pictures.sections import Section
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError
from halfsplit.quantity.volts import volts

SUSPECT = 0.1  # weight from which a suspect's own waveform is drawn beside the healthy one
MOST_WAVES = 3


class NotSolvedError(HalfsplitError):
    """What the picture needs was not solved."""

    exit_code = ExitCode.UNSOLVED


def circuit(
    bench: Session, around: str, hops: int = 1, notes: bool = False, **look: Any
) -> tuple[Choice, str]:
    """Circuit drawing of a neighbourhood; with `notes`, expected and read volts and the weight of
    suspects are written in. Returns what is drawn and the SVG."""
    choice = neighbourhood(bench.assembly, around, hops)
    if notes:
        look |= _written(bench, choice)
    return choice, circuit_svg(choice, **look)


def _written(bench: Session, choice: Choice) -> dict[str, Any]:
    nets = {n for u in choice.units for n in u.nets.values()} - {bench.assembly.common}
    return {
        "expected": expected_text(bench, sorted(nets)),
        "actual": actual_text(bench),
        "suspects": bench.blamed() if bench.evidence() or bench.proofs() else {},
    }


def by_blocks(
    assembly: Assembly,
    named: Sequence[str] = (),
    kept: str | None = None,
    written: Mapping[str, Any] | None = None,
    standalone: bool = False,
) -> tuple[Choice, list[Section], str, bool]:
    """The circuit block by block, or only the blocks named.

    `kept`: an earlier drawing (SVG) whose places are kept; not with `written`, the texts of
    :func:`circuit_svg`. Returns what is drawn, the blocks, the SVG, and whether places were kept.
    Raises NotFoundError.
    """
    listed = chosen(assembly, named)
    notes, weights = noted(**(written or {}))
    choice, sheet = by_block(assembly, listed, notes)
    held = places_in(kept) if kept is not None and written is None else None
    again = keep(held, choice) if held is not None else None
    name = f"Circuit of {assembly.name}"
    name += f": {', '.join(s.title for s in listed)}" if named else ", block by block"
    made = sheet_svg(again or sheet, choice, weights, name, standalone, kept=written is None)
    return choice, listed, made, again is not None


def written_in(bench: Session, named: Sequence[str] = ()) -> dict[str, Any]:
    """Expected and read volts and the weight of suspects, for the blocks named or all."""
    refs = [r for s in chosen(bench.assembly, named) for r in s.refs]
    return _written(bench, whole(bench.assembly, refs))


def expected_text(bench: Session, nets: Sequence[str]) -> dict[str, str]:
    """What each net should read now with nothing wrong; empty while the machine is off."""
    if not bench.condition.energised():
        return {}
    table = predict(bench.machine, bench.condition, [{}], moves=[])
    if int(table.status[0]) in UNCLAIMED:
        return {}
    skip = bench.machine.alternating_nets() | bench.machine.mains_nets()
    found = {n: float(table.mean[0, table.column(n)]) for n in nets if n not in skip}
    return {n: volts(v) for n, v in found.items() if np.isfinite(v)}


def actual_text(bench: Session) -> dict[str, str]:
    """The latest reading of each net against common in the present condition."""
    return {
        e.pos: volts(e.value)
        for e in bench.evidence()
        if e.quantity == "volts" and not e.neg and e.condition == bench.condition
    }


def leans_data(bench: Session) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The leans-on map and its proofs, for drawing."""
    return map_of(bench).as_dict(), [p.as_dict() for p in proofs_of(bench).values()]


def wave(
    bench: Session,
    name: str,
    condition: Condition | None = None,
    captured: Path | None = None,
    channel: int = 1,
) -> series.Chart:
    """Waveform of one net, healthy and under the leading suspects, against a captured one.

    Raises NotSolvedError where the healthy row is not solved or nothing there alternates.
    """
    at = condition or bench.condition
    net = bench.net(name)
    if not at.energised():
        raise NotSolvedError("the machine is off, so nothing alternates: name a --feed")
    rows: list[tuple[str, Any]] = [("healthy", {})]
    if bench.evidence():
        heavy = [g for g in bench.groups() if g.weight >= SUSPECT][: MOST_WAVES - 1]
        named = [(bench.hypotheses[g.members[0]], g.weight) for g in heavy]
        rows += [(f"{h.name} ({100 * w:.0f} %)", h.laid(at)) for h, w in named if h.faults]
    table = predict(bench.machine, at, [f for _, f in rows], moves=[])
    column = table.column(net)
    # Of what beats by itself on the mains the taller of the two swings is drawn.
    waves, period = table.wave[:, column], float(table.period[0])
    slow = table.hum[:, column]
    if slow.shape[1] and np.ptp(slow[0]) > np.ptp(waves[0]):
        waves, period = slow, float(table.cycle[0])
    kept = []
    for k, (said, _) in enumerate(rows):
        if int(table.status[k]) in UNCLAIMED or not np.isfinite(table.mean[k, column]):
            if k == 0:
                raise NotSolvedError(
                    f"not solved in this condition ({at.words()}): {table.told(0)}"
                )
            continue
        kept.append((said, float(table.mean[k, column]), waves[k].astype(float)))
    if period <= 0:
        raise NotSolvedError(
            f"nothing alternates, {at.words()}: it takes a feed on the mains, or a machine that "
            "beats by itself"
        )
    trace = None if captured is None else read_capture(captured, channel)
    return series.wave_chart(bench.assembly.net_label(net), at.words(), period, kept, trace)


def suspicion(bench: Session, most: int = 24) -> series.Chart:
    """How the weight of each leading suspect moved. Raises NotFoundError with nothing weighed."""
    steps = weights_over(bench, most)
    if not steps:
        raise NotFoundError("nothing in the journal weighs on a suspect yet: enter a reading first")
    return series.suspicion_chart(steps)


def load_curve(bench: Session, label: str, feed: str | None = None) -> series.Chart:
    """A rail against the file's loads, expected and read.

    Raises NotFoundError or NotSolvedError.
    """
    rails = bench.assembly.rails
    key = next((k for k in rails if k.lower() == label.lower()), None)
    if key is None:
        raise NotFoundError(f"there is no rail {label}; there are {', '.join(rails)}")
    here = bench.condition
    named = feed or (here.feed if here.energised() else bench.assembly.default_feed())
    at = [replace(here, feed=named, load=n, extra=()) for n in bench.assembly.loads]
    if named not in bench.assembly.feeds:
        raise NotFoundError(
            f"there is no feed {named}; there are {', '.join(bench.assembly.feeds)}"
        )
    net = rails[key].net
    expected = []
    for condition in at:
        table = predict(bench.machine, condition, [{}], moves=[])
        level = float(table.mean[0, table.column(net)])
        if int(table.status[0]) not in UNCLAIMED and np.isfinite(level):
            expected.append((condition.load, drawn_amps(bench, condition, net, level), level))
    if not expected:
        raise NotSolvedError(f"no load was solved fed by {named}")
    taken = [
        e
        for e in bench.evidence()
        if e.pos == net and not e.neg and e.quantity == "volts" and e.condition.feed == named
    ]
    fitted = [c for c in here.changes if c.what == "fitted"]
    read: list[tuple[int, float, float]] = []
    before: list[tuple[int, float, float]] = []
    for e in taken:
        row = (e.number, drawn_amps(bench, e.condition, net, e.value), e.value)
        (read if all(c in e.condition.changes for c in fitted) else before).append(row)
    limits = rails[key].limits
    return series.load_chart(key, named, expected, read, (limits.low, limits.high), before)


def drawn_amps(bench: Session, condition: Condition, net: str, level: float) -> float:
    """Current [A] that the loads of a condition draw from a net at `level` [V]."""
    laid = dict(bench.assembly.loads.get(condition.load, {})) | dict(condition.extra)
    value = laid.get(net, LoadValue(amps=0.0))
    return abs(level) / value.ohms if value.ohms else float(value.amps or 0.0)


def forming(bench: Session, ref: str) -> series.Chart:
    """The log of one reforming against its limits. Raises NotFoundError where there is none."""
    if not bench.forming(ref):
        raise NotFoundError(f"no reading of a reforming of {ref} is in the journal")
    plan = forming_plan_of(bench, ref)
    state = bringing.forming_state(bench, plan)
    return series.forming_chart(plan.part, state, plan.leakage_limit, plan.most_amps)


def forming_plan_of(bench: Session, ref: str) -> Any:
    """The plan a logged reforming follows, by the rule of its log."""
    return bringing.forming_plan(
        bench,
        ref,
        rule=None,
        leakage=None,
        feed=None,
        ohms=None,
        watts=None,
        limit=None,
        target=None,
        at_once=False,
        months=0.0,
    )


def limit_curve(bench: Session, label: str, feed: str | None = None) -> series.Chart:
    """Where the current limit of a rail bends. Raises NotFoundError or NotSolvedError."""
    rails = bench.assembly.rails
    key = next((k for k in rails if k.lower() == label.lower()), None)
    if key is None:
        raise NotFoundError(f"there is no rail {label}; there are {', '.join(rails)}")
    standing = bringing.standing(bench, feed)
    full = full_amps(standing, key)
    if full is None or bench.machine.self_oscillating or not standing.condition.energised():
        raise NotSolvedError(
            f"no limit curve of {key}: it takes a rated current in the file, a feed that is on, "
            "and a supply that does not beat by itself"
        )
    return series.limit_chart(overcurrent.curve(standing, key, rails[key], full).as_dict())
