"""Deck forms of the elements ngspice has no device of its own for.

Each follows the equation of the element's record (circuit/elements.py) by a behavioural current
source; what is smooth there is smooth here. Used by deck.py alone.
"""

from __future__ import annotations

from collections.abc import Callable

Add = Callable[[str], None]
Values = dict[str, float]
STATE_CAPACITY = 1e-9  # F, the memory of a latching thyristor
LATCH_TIME = 0.5e-6  # s, of that memory: as small SCRs turn on


def _soft(x: str) -> str:
    """log(1 + exp(x)) that overflows nowhere."""
    return f"(max({x},0)+ln(1+exp(-abs({x}))))"


def _step(x: str) -> str:
    """0 far below x = 0, 1 far above."""
    return f"(0.5+0.5*tanh({x}))"


def inductor(add: Add, i: int, v: Values, nets: list[str], start: float | None) -> None:
    """Winding with its resistance; `start` [A] is its current at time 0."""
    a, b = nets
    if v["r"] < 1e9:
        if v["l"] > 0:
            add(f"L{i} {a} x{i} {v['l']:.9g}" + (f" ic={start:.9g}" if start is not None else ""))
            add(f"Rl{i} x{i} {b} {v['r']:.9g}")
        else:
            add(f"Rl{i} {a} {b} {v['r']:.9g}")
    if v["g"] > 0:
        add(f"Rg{i} {a} {b} {1 / v['g']:.9g}")


FILAMENT = 0.1  # s, thermal time constant: many half cycles, and settled within a second


def lamp(add: Add, i: int, v: Values, nets: list[str], transient: bool = False) -> None:
    """Filament whose resistance rises with the square root of its voltage.

    In a transient that is the root mean square, as a filament has warmth, not the instant.
    """
    a, b = nets
    if v["amps"] < 1e-6:
        return  # linked out
    if transient:
        hot, cold = v["volts"] / v["amps"], v["cold"]
        add(f"Bw{i} 0 warm{i} I=(v({a},{b})/{v['volts']:.9g})^2")
        add(f"Rw{i} warm{i} 0 1")
        add(f"Cw{i} warm{i} 0 {FILAMENT}")
        ohms = f"{hot:.9g}*({cold:.9g}+{1 - cold:.9g}*sqrt(sqrt(max(v(warm{i}),0))))"
        add(f"B{i} {a} {b} I=v({a},{b})/({ohms})")
        return
    hot, cold = v["volts"] / max(v["amps"], 1e-15), v["cold"]
    ohms = f"{hot:.9g}*({cold:.9g}+{1 - cold:.9g}*sqrt(abs(v({a},{b}))/{v['volts']:.9g}))"
    add(f"B{i} {a} {b} I=v({a},{b})/({ohms})")
    if v["g"] > 0:
        add(f"R{i} {a} {b} {1 / v['g']:.9g}")


def limited_source(add: Add, i: int, v: Values, nets: list[str], wave: str) -> None:
    """Bench supply that slides into its current limit over the last tenth."""
    pos, neg = nets
    top = v["limit"]
    ask = f"(v(x{i},{pos})*{v['g']:.9g})"
    over = f"max(0,({ask}-{0.9 * top:.9g})/{0.1 * top:.9g})"
    add(f"V{i} x{i} {neg} {wave}")
    add(f"B{i} {neg} {pos} I=min({ask},{0.9 * top:.9g})+{0.1 * top:.9g}*(1-exp(-{over}))")


def amplifier(add: Add, i: int, v: Values, nets: list[str]) -> None:
    """Op-amp, or comparator that only sinks, between its supplies."""
    plus, minus, out, high, low = nets
    top, bottom = f"(v({high})-{v['high']:.9g})", f"(v({low})+{v['low']:.9g})"
    half = f"max(0.5*({top}-{bottom}),0.05)"
    drive = f"tanh({v['gain']:.9g}*(v({plus},{minus})+{v['offset']:.9g})/({half}))"
    if v["stuck"]:
        drive = f"{v['stuck']:.9g}"
    if v["able"] > 0.5 and v["collector"] > 0.5:
        want = f"0.5*(1-{drive})*{v['gout'] / v['limit']:.9g}*max(v({out})-{bottom},0)"
        add(f"B{i} {out} {low} I={v['limit']:.9g}*tanh({want})")
    elif v["able"] > 0.5:
        target = f"(0.5*({top}+{bottom})+{half}*{drive})"
        give = f"{v['limit']:.9g}*tanh({v['gout'] / v['limit']:.9g}*(v({out})-{target}))"
        add(f"B{i} {out} {low} I=max({give},0)")
        add(f"Bh{i} {out} {high} I=min({give},0)")
    if v["bias"]:
        add(f"Ip{i} {plus} {low} {v['bias']:.9g}")
        add(f"Im{i} {minus} {low} {v['bias']:.9g}")
    for key, ends in (("gin", f"{plus} {minus}"), ("gq", f"{high} {low}")):
        if v[key] > 0:
            add(f"R{key}{i} {ends} {1 / v[key]:.9g}")


def regulator(add: Add, i: int, v: Values, nets: list[str]) -> None:
    """Three-terminal regulator with drop-out and current limit."""
    inp, com, out = nets
    pol, w, knee = v["pol"], 0.02, 0.01 * v["limit"]
    vin, vo = f"({pol:g}*v({inp},{com}))", f"({pol:g}*v({out},{com}))"
    short = f"(({v['volts']:.9g}-({vin}-{v['drop']:.9g}))/{w})"
    if v["able"] > 0.5:
        # Target and current in nodes of their own: nested in one expression, ngspice spends nine
        # tenths of a run on its derivatives.
        add(f"Bt{i} t{i} 0 V={v['volts']:.9g}-{w}*{_soft(short)}")
        add(f"Bd{i} d{i} 0 V={v['gout'] / knee:.9g}*(v(t{i})-{vo})")
        give = f"{knee:.9g}*({_soft(f'v(d{i})')}-{_soft(f'(v(d{i})-100)')})"
        add(f"B{i} {inp} {out} I={pol:g}*{give}")
    if v["iq"]:
        add(f"Bq{i} {inp} {com} I={pol * v['iq']:.9g}*tanh({vin})")
    if v["g"] > 0:
        add(f"R{i} {inp} {out} {1 / v['g']:.9g}")


def thyristor(add: Add, i: int, v: Values, nets: list[str], memory: float = LATCH_TIME) -> None:
    """Thyristor that latches by itself, for the time domain.

    A memory node m (0 off, 1 on) is drawn to 1 by enough gate current while the anode is above its
    on-state voltage, or by enough anode current, else to 0, with the time constant `memory` [s].
    Keep the longest time step below half of it: a wild iterate within one longer step can fire it.
    """
    a, k, g = nets
    knee = f"((v({a},{k})-{v['von']:.9g})/0.03)"
    on = f"(0.03*{_soft(knee)}/{v['ron']:.9g})"
    if v["able"] > 0.5:
        add(f"Ba{i} {a} {k} I={_step(f'30*(v(m{i})-0.5)')}*{on}")
        fire = "0"
        if v["isg"] > 0:
            gate = f"i(Vg{i})/{v['igt']:.9g}"
            ready = _step(f"(v({a},{k})-{v['von']:.9g})/0.02")
            fire = f"{_step(f'10*({gate}-1)')}*{ready}"
        hold = _step(f"10*({_step(f'30*(v(m{i})-0.5)')}*{on}/{v['ih']:.9g}-1)")
        add(f"Cm{i} m{i} 0 {STATE_CAPACITY:g} ic=0")
        add(f"Bm{i} 0 m{i} I={STATE_CAPACITY / memory:g}*(max({fire},{hold})-v(m{i}))")
    if v["isg"] > 0:
        add(f"Vg{i} {g} g{i} 0")
