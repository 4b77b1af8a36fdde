"""Write our netlists as decks for ngspice, the independent reference, and read its answers.

Elements that ngspice has no device for are in deck_parts.py, its transient in waves.py.

Only tests use this. Faults are made here as a bench would make them (a gigohm in a lead, a resistor
across it), not by copying the solver's own parameter tricks.
"""

from __future__ import annotations

import math
import re
import shutil
import subprocess
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from halfsplit.circuit import elements as el
from halfsplit.circuit.netlist import Overrides
from halfsplit.circuit.topology import Topology
from tests.simulator import deck_parts as parts
from tests.simulator import deck_valves

NGSPICE = shutil.which("ngspice")
TEMPERATURE = 27.0  # degC, ngspice's own default


@dataclass
class Deck:
    """Lines of a deck with net names made harmless, and what ngspice is asked for.

    `through`: element -> two nodes and the conductance [S] between them that carries its current.
    """

    common: str
    lines: list[str] = field(default_factory=list)
    through: dict[str, tuple[str, str, float]] = field(default_factory=dict)

    def net(self, name: str) -> str:
        """Deck name of a net; 0 is common."""
        if name == self.common:
            return "0"
        return "n_" + re.sub(r"[^a-zA-Z0-9]", "_", name).lower()


def _values(element: el.Element, changes: Overrides) -> dict[str, float]:
    values = dict(zip(element.PARAMS, element.vector(), strict=True))
    values |= {key: v for (name, key), v in changes.items() if name == element.name}
    return values


def write(
    topology: Topology,
    changes: Overrides,
    *,
    open_lead: tuple[str, str] | Mapping[str, str] | None = None,
    fired: frozenset[str] = frozenset(),
    closed: frozenset[str] = frozenset(),
    transient: bool = False,
    start: Mapping[str, float] | None = None,
    amps: Mapping[str, float] | None = None,
    memory: float = parts.LATCH_TIME,
) -> Deck:
    """Deck of the netlist with parameter changes laid over it.

    `open_lead` names a transistor and lead (c, b or e) to be broken by a gigohm in series, or
    several; `fired`
    and `closed` name thyristors and contacts taken as on. `start` (net -> V, others at 0) and
    `amps` (inductor -> A) are the state a transient begins in; with them thyristors that are not
    `fired`, and then held so, start off and latch by themselves, in about `memory` [s].
    """
    deck = Deck(topology.netlist.common)
    broken = dict([open_lead]) if isinstance(open_lead, tuple) else dict(open_lead or {})
    for index, element in enumerate(topology.netlist):
        v = _values(element, changes)
        nets = [deck.net(n) for n in element.nets]
        if start is not None and isinstance(element, el.Capacitor):
            first, second = (start.get(n, 0.0) for n in element.nets)
            v["start"] = first - second
        if start is not None and isinstance(element, el.Scr) and element.name not in fired:
            parts.thyristor(deck.lines.append, index, v, nets, memory)
            gate = f"g{index}" if v["isg"] > 0 else nets[2]
            _gate(deck, index, v, [*nets[:2], gate])
            continue
        _element(deck, index, element, v, nets, broken, fired, closed, transient)
        if isinstance(element, el.Inductor):
            at = (amps or {}).get(element.name, 0.0) if start is not None else None
            parts.inductor(deck.lines.append, index, v, nets, at)
            if v["l"] > 0 and v["r"] < 1e9:
                deck.through[element.name] = (f"x{index}", nets[1], 1.0 / v["r"])
    if start is not None:
        known = {deck.net(n): v for n, v in start.items() if n in topology.net_index}
        deck.lines.append(".ic " + " ".join(f"v({n})={v:.9g}" for n, v in known.items()))
    for net in topology.nets:  # the same leak to common that the solver has
        deck.lines.append(f"Rleak{deck.net(net)} {deck.net(net)} 0 1e12")
        if transient:  # stray capacitance of wiring, or a floating winding stops its time step
            deck.lines.append(f"Cstray{deck.net(net)} {deck.net(net)} 0 30p")
    return deck


def _element(deck, i, element, v, nets, open_lead, fired, closed, transient):  # type: ignore[no-untyped-def]
    add = deck.lines.append
    two = " ".join(nets[:2])
    if isinstance(element, el.Resistor):
        if v["g"] > 0:
            add(f"R{i} {two} {1 / v['g']:.9g}")
    elif isinstance(element, el.Capacitor):
        if transient and v["c"] > 0:
            ic = f" ic={v['start']:.9g}" if "start" in v else ""
            add(f"C{i} {nets[0]} x{i} {v['c']:.9g}{ic}")
            add(f"Rc{i} x{i} {nets[1]} {v['esr']:.9g}")
            deck.through[element.name] = (f"x{i}", nets[1], 1.0 / v["esr"])
        if v["g"] > 0:
            add(f"R{i} {two} {1 / v['g']:.9g}")
    elif isinstance(element, el.Source):
        if v["g"] > 1e-9:
            wave = f"dc {v['dc']:.9g}"
            if transient and v["ac"]:
                wave = f"sin({v['dc']:.9g} {v['ac']:.9g} {v['hz']:.9g})"
            if v["limit"] < 1e6:
                parts.limited_source(add, i, v, nets, wave)
                return
            add(f"V{i} x{i} {nets[1]} {wave}")
            add(f"R{i} x{i} {nets[0]} {1 / v['g']:.9g}")
            deck.through[element.name] = (f"x{i}", nets[0], v["g"])
    elif isinstance(element, el.Sink):
        if v["amps"]:
            add(f"B{i} {two} I={v['amps']:.9g}*tanh(v({nets[0]},{nets[1]})/{v['knee']})")
    elif isinstance(element, el.Diode):
        if v["is"] > 0 or v["ibv"] > 0:
            n = v["nvt"] / el.THERMAL_VOLTAGE
            model = f"is={v['is']:.9g} n={n:.9g}"
            if v["ibv"] > 0:
                model += (
                    f" bv={v['bv']:.9g} ibv={v['ibv']:.9g} nbv={v['nbv'] / el.THERMAL_VOLTAGE:.9g}"
                )
            if v.get("tt", 0.0) > 0:
                model += f" tt={v['tt']:.9g}"
            add(f"D{i} {two} MD{i}")
            add(f".model MD{i} D({model})")
        if v["g"] > 0:
            add(f"R{i} {two} {1 / v['g']:.9g}")
    elif isinstance(element, el.Bjt):
        _bjt(deck, i, element, v, nets, open_lead)
    elif isinstance(element, el.Scr):
        a, k, _ = nets
        _gate(deck, i, v, nets)
        if element.name in fired:
            add(f"B{i} {a} {k} I=0.03*ln(1+exp((v({a},{k})-{v['von']:.9g})/0.03))/{v['ron']:.9g}")
    elif isinstance(element, el.Winding):
        p, m, core = nets
        add(f"R{i} {p} x{i} {1 / v['g']:.9g}")
        add(f"E{i} x{i} y{i} {core} 0 {v['turns']:.9g}")
        add(f"Vs{i} y{i} {m} 0")
        add(f"F{i} 0 {core} Vs{i} {v['turns']:.9g}")
    elif isinstance(element, el.Contact):
        g = v["closed"] if element.name in closed else v["open"]
        add(f"R{i} {two} {1 / g:.9g}")
    elif isinstance(element, el.Lamp):
        parts.lamp(add, i, v, nets, transient)
    elif isinstance(element, el.Amplifier):
        parts.amplifier(add, i, v, nets)
    elif isinstance(element, el.Regulator):
        parts.regulator(add, i, v, nets)
    elif not isinstance(element, el.Inductor) and not deck_valves.element(
        deck, i, element, v, nets, fired, transient
    ):
        raise NotImplementedError(f"no deck form for {type(element).__name__}")


def _gate(deck: Deck, i: int, v: dict[str, float], nets: list[str]) -> None:
    """Gate junction and parallel paths of a thyristor."""
    a, k, g = nets
    if v["isg"] > 0:
        deck.lines.append(f"D{i} {g} {k} MD{i}")
        n = v["nvt"] / el.THERMAL_VOLTAGE
        deck.lines.append(f".model MD{i} D(is={v['isg']:.9g} n={n:.9g})")
    for key, pair in (("gak", f"{a} {k}"), ("ggk", f"{g} {k}")):
        if v[key] > 0:
            deck.lines.append(f"R{key}{i} {pair} {1 / v[key]:.9g}")


def _bjt(deck, i, element, v, nets, open_lead):  # type: ignore[no-untyped-def]
    add = deck.lines.append
    c, b, e = nets
    for key, pair in (("gce", (c, e)), ("gbe", (b, e)), ("gcb", (c, b))):
        if v[key] > 0:
            add(f"R{key}{i} {pair[0]} {pair[1]} {1 / v[key]:.9g}")
    if v["ist"] <= 0 and element.name not in open_lead:
        if v["isf"] > 0 or v["isr"] > 0:
            raise ValueError(f"{element.name}: an open lead must be given as open_lead")
        return
    leads = {"c": c, "b": b, "e": e}
    if v["afloat"] > 0 and element.name not in open_lead:
        open_lead = {element.name: "b"}
    if element.name in open_lead:
        lead = open_lead[element.name]
        add(f"Ropen{i} {leads[lead]} o{i} 1e9")
        leads[lead] = f"o{i}"
        base = dict(zip(element.PARAMS, element.vector(), strict=True))
        v = v | {k: base[k] for k in ("ist", "isf", "isr")}
    kind = "NPN" if v["pol"] > 0 else "PNP"
    early = f" vaf={1 / v['ivaf']:.9g}" if v["ivaf"] > 0 else ""
    if v["iknee"] > 0:
        early += f" ikf={1 / v['iknee']:.9g}"
    for key in ("tf", "tr"):
        if v.get(key, 0.0) > 0:
            early += f" {key}={v[key]:.9g}"
    add(f"Q{i} {leads['c']} {leads['b']} {leads['e']} MQ{i}")
    add(
        f".model MQ{i} {kind}(is={v['ist']:.9g} bf={v['ist'] / v['isf']:.9g} "
        f"br={v['ist'] / v['isr']:.9g}{early})"
    )


# How near ngspice brings its equations. At the usual one it now and then stops short: of a
# comparator hard over it once gave 0.444 V where it gives 0.383 V from elsewhere, and at the finer.
USUAL, FINE = "reltol=1e-5 abstol=1e-11 vntol=1e-7", "reltol=1e-7 abstol=1e-12 vntol=1e-9"


def _run(
    title: str, deck: Deck, control: list[str], timeout: float = 60.0, tolerance: str = USUAL
) -> str:
    assert NGSPICE, "ngspice is needed: apt-get install ngspice"
    text = [title, *deck.lines, f".options gmin=1e-12 {tolerance}"]
    text += [".control", "set numdgt=10", *control, "quit", ".endc", ".end", ""]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "deck.cir"
        path.write_text("\n".join(text))
        done = subprocess.run(
            [NGSPICE, "-b", str(path)], capture_output=True, text=True, timeout=timeout, check=False
        )
    return done.stdout + done.stderr


_PRINTED = re.compile(r"^\s*([a-z_][a-z0-9_]*(?:\([a-z0-9_]+\))?)\s*=\s*([-+0-9.e]+)\s*$", re.M)


def operating_point(
    deck: Deck,
    nets: list[str],
    guess: dict[str, float] | None = None,
    timeout: float = 60.0,
    tolerance: str = USUAL,
) -> dict[str, float] | None:
    """Voltages [V] of `nets` at direct current, or None when ngspice gave up.

    `guess` sets node voltages to start from (.nodeset). TimeoutExpired after `timeout` [s].
    """
    lines = Deck(deck.common, list(deck.lines))
    if guess:
        pairs = " ".join(f"v({deck.net(n)})={v:.6g}" for n, v in guess.items() if math.isfinite(v))
        lines.lines.append(f".nodeset {pairs}")
    asked = [f"print v({deck.net(n)})" for n in nets if deck.net(n) != "0"]
    out = _run("operating point", lines, ["op", *asked], timeout, tolerance)
    if "aborted" in out.lower() or "No such vector" in out or "singular" in out.lower():
        return None
    found = {name: float(value) for name, value in _PRINTED.findall(out)}
    try:
        return {n: found[f"v({deck.net(n)})"] for n in nets if deck.net(n) != "0"}
    except KeyError:
        return None


def mains_cycle(
    deck: Deck, nets: list[str], hertz: float, settle: float, step: float = 5e-5
) -> dict[str, tuple[float, float]] | None:
    """Mean and peak-to-peak [V] of `nets` over the mains cycle that ends at `settle` seconds."""
    start = settle - 1.0 / hertz
    control = [f"tran {step:g} {settle:g} {max(start - 0.01, 0):g} {step:g} uic"]
    for k, n in enumerate(nets):
        v = f"v({deck.net(n)})"
        control.append(f"meas tran mean{k} avg {v} from={start:g} to={settle:g}")
        control.append(f"meas tran peak{k} pp {v} from={start:g} to={settle:g}")
    out = _run("mains cycle", deck, control, timeout=300.0)
    if "aborted" in out:
        return None
    found = dict(re.findall(r"^(mean\d+|peak\d+)\s*=\s*([-+0-9.e]+)", out, re.M))
    try:
        return {n: (float(found[f"mean{k}"]), float(found[f"peak{k}"])) for k, n in enumerate(nets)}
    except KeyError:
        return None
