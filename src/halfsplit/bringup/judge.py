"""A candidate part against what its position demands: reasons against, and when better is worse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from halfsplit.assembly.condition import Change, Condition, refit
from halfsplit.assembly.lower import Machine
from halfsplit.bringup import crowbar
from halfsplit.bringup.conductors import fuse_equivalent
from halfsplit.bringup.solving import Bench, UnsolvedError
from halfsplit.bringup.trial import faults_of, outcomes, rated_conditions, strains
from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.solution import Status
from halfsplit.faults.dictionary import predict
from halfsplit.faults.stress import overstress_words, stresses
from halfsplit.parts import catalogue
from halfsplit.parts.base import PRACTICE, REGISTRY, Part
from halfsplit.parts.kinds.fuse import Fuse
from halfsplit.problems import Problem, ProblemsError
from halfsplit.quantity import show
from halfsplit.quantity.volts import volts

OFF = Condition("off", "none")
MARGIN = 1.5  # rating over what is seen, below which a candidate is only just enough
FASTER = 3.0  # times the drawn transition frequency from which an old loop may sing

# Fields that make a part faster or slower, stiffer or softer, and the name people give that.
ASPECTS = {
    "recovery": "speed",
    "storage": "speed",
    "transition": "speed",
    "esr": "ESR",
    "gain_typical": "gain",
    "gain": "gain",
    "volts": "volts",
    "amps": "amps",
    "power": "watts",
    "value": "value",
}


@dataclass(frozen=True)
class Judged:
    """`reasons` against a candidate and `cautions` about it, each an aspect and words."""

    part: str
    candidate: str
    reasons: tuple[tuple[str, str], ...]
    cautions: tuple[tuple[str, str], ...]

    @property
    def accepted(self) -> bool:
        """Whether nothing was found against it."""
        return not self.reasons

    @property
    def verdict(self) -> str:
        """One sentence."""
        if self.reasons:
            return f"not {self.candidate} at {self.part}: " + "; ".join(
                f"{aspect}: {words}" for aspect, words in self.reasons
            )
        return f"nothing found against {self.candidate} at {self.part}"

    def as_dict(self) -> dict[str, Any]:
        """Plain data for ``--json``."""
        return asdict(self) | {"accepted": self.accepted, "verdict": self.verdict}


def judge(
    machine: Machine,
    change: Change,
    conditions: Sequence[Condition] | None = None,
) -> Judged:
    """Try a candidate (a ``fitted`` change) in the circuit at every rated load."""
    drawn = machine.assembly.parts[change.part]
    said = ", ".join(v if k == "type" else f"{k} {v}" for k, v in change.values) or drawn.label()
    values = dict(change.values)
    if drawn.KIND == "selenium" and "type" in values:
        row = catalogue.load().get(values["type"])
        if row is not None and row.kind in ("rectifier", "diode"):
            return silicon_for_selenium(machine, change.part, values["type"])
    try:
        fitted = refit(drawn, change)
    except ProblemsError as error:
        against = tuple(("kind or polarity", str(p.wrong)) for p in error.problems)
        return Judged(change.part, said, against, ())
    chosen = rated_conditions(machine, drawn) if conditions is None else list(conditions)
    reasons: list[tuple[str, str]] = []
    if isinstance(drawn, Fuse) and isinstance(fitted, Fuse):
        reasons += [("fuse", w) for w in fuse_equivalent(drawn, fitted)]
    differs = _differs(drawn, fitted)
    aspect = "/".join(dict.fromkeys(ASPECTS[f] for f in differs if f in ASPECTS)) or "circuit"
    slow = _slower(drawn, fitted)
    if slow:
        aspect = "speed"
    laid = _overrides(fitted)
    margins: dict[str, tuple[float, str]] = {}
    for condition in chosen:
        usual, trial = outcomes(machine, condition, [{}, laid])
        found = faults_of(usual, trial)
        reasons += [(aspect, f"{w}{slow}") for w in found]
        if found and machine.self_oscillating:
            continue  # refused here already, and it takes a minute to follow a restart
        at = condition.with_change(change)
        stress = stresses(machine, at, [{}])
        if stress.status[0] == Status.UNSOLVED:
            continue
        for k, limit in enumerate(stress.limits):
            ratio = float(np.nan_to_num(stress.ratios[0, k]))
            if limit.part != change.part or ratio < 1.0 / MARGIN:
                continue
            if ratio > margins.get(limit.quantity, (0.0, ""))[0]:
                words = overstress_words(limit, float(stress.values[0, k]), ratio)
                margins[limit.quantity] = (ratio, f"{words} ({condition.words()})")
    if chosen and not (reasons and machine.self_oscillating):
        _strained(machine, chosen[-1], change, margins)
    reasons += [("trip", words) for words in _trips(machine, drawn, laid)]
    reasons += [(q, w) for q, (ratio, w) in margins.items() if ratio > 1.0]
    cautions = [(q, f"only just: {w}") for q, (ratio, w) in margins.items() if ratio <= 1.0]
    cautions += _better_is_worse(machine, drawn, fitted)
    return Judged(change.part, said, tuple(dict.fromkeys(reasons)), tuple(cautions))


def _strained(
    machine: Machine,
    condition: Condition,
    change: Change,
    margins: dict[str, tuple[float, str]],
) -> None:
    """Add what the candidate goes through as each rail is loaded down to a short, where the part
    drawn bears that."""
    drawn, fitted = (strains(machine, c) for c in (condition, condition.with_change(change)))
    if drawn is None or fitted is None:
        return
    bears: dict[str, float] = {}
    for row in drawn.rows:
        for k, limit in enumerate(drawn.stress.limits):
            if limit.part == change.part:
                ratio = float(np.nan_to_num(drawn.stress.ratios[row, k]))
                bears[limit.quantity] = max(ratio, bears.get(limit.quantity, 0.0))
    for row in fitted.rows:
        for k, limit in enumerate(fitted.stress.limits):
            ratio = float(np.nan_to_num(fitted.stress.ratios[row, k]))
            before = margins.get(limit.quantity, (1.0 / MARGIN, ""))[0]
            if limit.part != change.part or ratio <= before or bears.get(limit.quantity, 0.0) > 1.0:
                continue
            words = overstress_words(limit, float(fitted.stress.values[row, k]), ratio)
            margins[limit.quantity] = (ratio, f"{words} ({fitted.words[row]})")


def _trips(machine: Machine, drawn: Part, laid: Overrides) -> list[str]:
    """Where a candidate on the gate of a crowbar, or for it, puts the trip out of its window."""
    found = []
    for ref, label in crowbar.find(machine):
        gate = machine.assembly.parts[ref].terminals()["g"]
        if drawn.ref != ref and gate not in drawn.terminals().values():
            continue
        rail = machine.assembly.rails[label]
        try:
            bars = [
                crowbar.predict_trip(Bench(machine, OFF, rows), ref, label, rail, ends=False)
                for rows in ({}, laid)
            ]
        except UnsolvedError as error:
            found.append(str(error))
            continue
        if bars[1].refused and bars[1].refused != bars[0].refused:
            found.append(f"crowbar {ref} of {label}: {bars[1].refused}")
    return found


def _overrides(part: Part) -> Overrides:
    return {
        (e.name, p): v for e in part.elements() for p, v in zip(e.PARAMS, e.vector(), strict=True)
    }


def _differs(drawn: Part, fitted: Part) -> list[str]:
    return [k for k, v in fitted.__dict__.items() if k in drawn.__dict__ and drawn.__dict__[k] != v]


def _slower(drawn: Part, fitted: Part) -> str:
    """How much slower a rectifier recovers than the one drawn, in words."""
    was, now = drawn.__dict__.get("recovery"), fitted.__dict__.get("recovery")
    if was and now and now > 1.5 * was:
        return f"; it recovers in {show(now, 's', 2)}, the drawn one in {show(was, 's', 2)}"
    if was and drawn.KIND == fitted.KIND and not now:
        return "; its recovery is not known"
    return ""


def _better_is_worse(machine: Machine, drawn: Part, fitted: Part) -> list[tuple[str, str]]:
    """Where more of something good may do harm, and fields a swap may trip over."""
    found = []
    esr = drawn.__dict__.get("esr"), fitted.__dict__.get("esr")
    if esr[0] and esr[1] is not None and esr[1] < 0.5 * esr[0]:
        words = (
            f"better is worse: {show(esr[1], 'ohm', 2)} in place of {show(esr[0], 'ohm', 2)}; "
            + (
                "series resistance sets the rhythm of this supply"
                if machine.self_oscillating
                else "an old regulator may need it to be steady, which a direct-current sum "
                f"does not show: {PRACTICE}"
            )
        )
        found.append(("ESR", words))
    fast = drawn.__dict__.get("transition"), fitted.__dict__.get("transition")
    if fast[0] and fast[1] and fast[1] > FASTER * fast[0]:
        found.append(
            (
                "speed",
                f"better is worse: {show(fast[1], 'Hz', 2)} in place of {show(fast[0], 'Hz', 2)} "
                f"may make an old loop oscillate; look with a scope: {PRACTICE}",
            )
        )
    for name, label in (("pinout", "pin-out"), ("package", "package")):
        was, now = drawn.__dict__.get(name), fitted.__dict__.get(name)
        if was and now and was != now:
            found.append((label, f"{now}, drawn {was}: check which lead is which, as viewed"))
    case = drawn.__dict__.get("theta_jc"), fitted.__dict__.get("theta_jc")
    hot = drawn.__dict__.get("junction_max"), fitted.__dict__.get("junction_max")
    if hot[0] and hot[1] and hot[1] < hot[0]:
        words = f"junction to {hot[1]:g} °C, drawn {hot[0]:g} °C: the same watts ask a better sink"
        found.append(("heat", words))
    elif case[0] and case[1] and case[1] > 1.1 * case[0]:
        found.append(("heat", f"{case[1]:g} K/W to its case, drawn {case[0]:g}"))
    return found


def silicon_for_selenium(machine: Machine, ref: str, type_name: str) -> Judged:
    """Silicon where selenium was: how far the raw rail rises, and the resistor that takes it back.

    The resistor is found by trial in the circuit itself, in series with the silicon.
    """
    drawn = machine.assembly.parts[ref]
    ohms, watts, rise, before, after = dropper(machine, ref, type_name)
    aspect = (
        f"the rail behind {ref} would rise from {volts(before)} to {volts(after)} "
        f"({100 * rise:.0f} %)"
    )
    need = f"put {show(ohms, 'ohm', 2)}, {show(watts, 'W', 2)} or more, in series"
    reasons = [("forward drop", f"{aspect}: {need}")]
    stands = _silicon(machine, ref, type_name).__dict__.get("volts")
    k = list(machine.assembly.parts).index(ref)
    sees = max(
        float(np.nan_to_num(stresses(machine, c, [{}]).volts[0, k]))
        for c in _mains_conditions(machine)
    )
    if stands and stands < sees:
        reasons.append(("volts", f"sees {volts(sees)} backwards, stands {volts(stands)}"))
    fumes = ("substance", f"{ref} is selenium: bag it, wash hands; its fumes are poisonous")
    return Judged(ref, f"{type_name} for the {drawn.label()}", tuple(reasons), (fumes,))


def _silicon(machine: Machine, ref: str, type_name: str) -> Part:
    """The silicon type in the same two holes."""
    row = catalogue.load().get(type_name)
    if row is None:
        wrong = f"type {type_name} is not in the catalogue"
        raise ProblemsError([Problem("", 0, 0, "type", wrong, "1N4007")])
    kind = REGISTRY.kinds[row.kind]
    fields = {k: v for k, v in row.fields.items() if k in kind.model_fields}
    ends = dict(zip(("a", "k"), machine.assembly.parts[ref].terminals().values(), strict=True))
    return kind.model_validate({"ref": ref, "kind": row.kind, "type": type_name, **ends, **fields})


def _mains_conditions(machine: Machine) -> list[Condition]:
    feeds = [n for n, f in machine.assembly.feeds.items() if f.mains]
    if not feeds:
        wrong = "no feed of the file uses the mains, so no rectifier works"
        raise ProblemsError([Problem("", 0, 0, "feeds", wrong, "mains: {mains: true}")])
    return [Condition(feeds[0], load) for load in machine.assembly.loads]


def dropper(machine: Machine, ref: str, type_name: str) -> tuple[float, float, float, float, float]:
    """Resistor [ohm] and its watts with which a silicon rectifier gives what the selenium did; the
    rise without it as a share, and the rail with selenium and with bare silicon [V], unloaded rail
    against common, at the file's heaviest load on the mains."""
    condition = _mains_conditions(machine)[-1]
    drawn = machine.assembly.parts[ref]
    element = drawn.elements()[0]
    a, k = drawn.terminals().values()
    twin = _silicon(machine, ref, type_name)
    silicon = {
        (element.name, p): v
        for p, v in zip(el.Diode.PARAMS, twin.elements()[0].vector(), strict=True)
    } | {(element.name, "tt"): 0.0}
    swinging = machine.alternating_nets()
    rail = next(n for n in (k, a) if n not in swinging)

    def level(ohms: float) -> float:
        changes = dict(silicon) | _series(machine, ref, ohms)
        table = predict(machine, condition, [changes], moves=[])
        return float(table.mean[0, table.column(rail)])

    healthy = predict(machine, condition, [{}], moves=[])
    before = float(healthy.mean[0, healthy.column(rail)])
    after = level(0.0)
    low, high = 0.0, 10.0
    while abs(level(high)) > abs(before) and high < 1e6:
        low, high = high, 4.0 * high
    for _ in range(24):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if abs(level(middle)) > abs(before) else (low, middle)
    ohms = 0.5 * (low + high)
    stress = stresses(machine, condition, [dict(silicon) | _series(machine, ref, ohms)])
    at = next(i for i, x in enumerate(stress.limits) if x.part == ref and x.quantity == "amps")
    mean = float(stress.values[0, at])
    # A rectifier into a reservoir flows in pulses: about 2.5 times the mean as rms, so 6 in watts.
    # O. H. Schade, Proc. IRE 31, 1943, reads so at usual angles (from memory, unconfirmed).
    return ohms, 6.0 * mean**2 * ohms, abs(after / before) - 1.0, before, after


def _series(machine: Machine, ref: str, ohms: float) -> Overrides:
    """A resistance in series with a rectifier: laid into whatever winding or lead it hangs on."""
    drawn = machine.assembly.parts[ref]
    ends = set(drawn.terminals().values())
    for e in machine.netlist:
        if isinstance(e, el.Winding) and set(e.nets[:2]) & ends:
            own = 1.0 / e.values.get("g", 1.0)
            return {(e.name, "g"): 1.0 / (own + ohms)}
    for e in machine.netlist:
        if isinstance(e, el.Resistor) and set(e.nets) & ends and ":" not in e.name:
            own = 1.0 / e.values["g"]
            return {(e.name, "g"): 1.0 / (own + ohms)}
    raise ProblemsError(
        [Problem("", 0, 0, ref, "hangs on no winding or resistor a series part could join")]
    )
