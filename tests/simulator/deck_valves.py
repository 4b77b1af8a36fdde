"""Deck forms of valves, gas tubes and chokes: the published laws written for ngspice, not ours.

Source of the valve laws: N. Koren, "Improved vacuum tube models for SPICE simulations", Glass Audio
8(5), 1996, written out with behavioural sources; where the solver departs from the printed form
(screen current) its documented form is used.
"""

from __future__ import annotations

from halfsplit.circuit import elements as el


def soft(u: str) -> str:
    """ln(1 + exp(u)) that does not overflow."""
    return f"(({u}) > 40 ? ({u}) : ln(1+exp(min({u},40))))"


def three_halves(v: str) -> str:
    """v^1.5 above 0 V."""
    return f"pow(max({v},1e-9),1.5)"


def drive(v: str, vg: str, p: dict[str, float], kvb: float) -> str:
    """Koren's drive."""
    u = f"{p['kp']:.9g}*({1 / p['mu']:.9g}+({vg})/sqrt({kvb:.9g}+({v})*({v})))"
    return f"max({v},0)/{p['kp']:.9g}*{soft(u)}"


def element(deck, i, element, v, nets, fired, transient):  # type: ignore[no-untyped-def]
    """Lines of one element; False when it is none of these.

    A gas tube at direct current is lit when `fired` names it. In the time domain it is a switch
    with hysteresis of ngspice's own, which lights and goes out by itself.
    """
    add = deck.lines.append
    if isinstance(element, (el.Triode, el.Pentode)):
        a, g, k = nets[0], nets[1], nets[-1]
        pairs = {"gak": (a, k), "ggk": (g, k), "gag": (a, g)}
        alive = v["heat"] * v["emission"]
        if alive > 0:
            add(f"Bg{i} {g} {k} I={alive * v['kgrid']:.9g}*{three_halves(f'v({g},{k})')}")
            if isinstance(element, el.Triode):
                add(f"Be{i} e{i} 0 V={drive(f'v({a},{k})', f'v({g},{k})', v, v['kvb'])}")
                add(f"Ba{i} {a} {k} I={2 * alive / v['kg1']:.9g}*pow(max(v(e{i}),1e-12),{v['ex']})")
            else:
                s = nets[2]
                add(f"Be{i} e{i} 0 V={drive(f'v({s},{k})', f'v({g},{k})', v, 1.0)}")
                power = f"{alive:.9g}*pow(max(v(e{i}),1e-12),{v['ex']})"
                bend = f"atan(max(v({a},{k}),0)/{v['kvb']:.9g})"
                add(f"Ba{i} {a} {k} I={2 / v['kg1']:.9g}*{power}*{bend}")
                add(f"Bs{i} {s} {k} I={power}/{v['kg2']:.9g}")
        if isinstance(element, el.Pentode):
            pairs |= {"gsk": (nets[2], k), "gas": (a, nets[2])}
        for key, (x, y) in pairs.items():
            if v[key] > 0:
                add(f"R{key}{i} {x} {y} {1 / v[key]:.9g}")
    elif isinstance(element, el.Vacuum):
        a, k = nets
        size = v["k"] * v["heat"] * v["emission"]
        add(f"B{i} {a} {k} I={size:.9g}*{three_halves(f'v({a},{k})')}")
        if v["g"] > 0:
            add(f"R{i} {a} {k} {1 / v['g']:.9g}")
    elif isinstance(element, el.Gas):
        _gas(deck, i, element.name, v, nets, fired, transient)
    elif isinstance(element, el.Inductor):
        a, b = nets
        add(f"R{i} {a} x{i} {v['r']:.9g}")
        add(f"L{i} x{i} {b} {max(v['l'], 1e-9):.9g}" if transient else f"V{i} x{i} {b} 0")
        if v["g"] > 0:
            add(f"Rg{i} {a} {b} {1 / v['g']:.9g}")
    else:
        return False
    return True


def _gas(deck, i, name, v, nets, fired, transient):  # type: ignore[no-untyped-def]
    a, k = nets
    add = deck.lines.append
    if v["g"] > 0:
        add(f"R{i} {a} {k} {1 / v['g']:.9g}")
    if transient and v["able"] > 0.5:
        out = v["volts"] + v["r"] * v["out"]
        middle, half = 0.5 * (v["strike"] + out), 0.5 * (v["strike"] - out)
        add(f"S{i} {a} x{i} {a} {k} MS{i} off")
        add(f".model MS{i} sw(vt={middle:.9g} vh={half:.9g} ron={v['r']:.9g} roff=1e12)")
        add(f"V{i} x{i} {k} {v['volts']:.9g}")
    elif name in fired:
        over = f"(v({a},{k})-{v['volts']:.9g})/0.05"
        add(f"B{i} {a} {k} I=0.05*{soft(over)}/{v['r']:.9g}")
