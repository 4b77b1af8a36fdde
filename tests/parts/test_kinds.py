"""Every part kind keeps its promises: terminals, modes, uncertainties, ratings, bench readings."""

from __future__ import annotations

import math
from typing import Any

import pytest
from pydantic import ValidationError

from halfsplit.circuit.netlist import Netlist, Overrides
from halfsplit.circuit.topology import compile_netlist
from halfsplit.parts import kinds as _kinds
from halfsplit.parts.base import REGISTRY, Part

assert _kinds  # importing it fills the registry

# One entry of every kind, as a user types it; fields that switch on ratings are given.
ENTRIES: dict[str, dict[str, Any]] = {
    "bridge": {"volts": "200V", "amps": "4A", "ac1": "n1", "ac2": "n2", "pos": "n3", "neg": "com"},
    "ceramic-capacitor": {"value": "1n", "volts": "50V", "a": "n1", "b": "n2"},
    "comparator": {"plus": "n1", "minus": "n2", "out": "n3", "vpos": "n4", "vneg": "com"},
    "connector": {"a": "n1", "b": "n2"},
    "diode": {"volts": "75V", "amps": "150mA", "a": "n1", "k": "n2"},
    "electrolytic": {"value": "100u", "volts": "25V", "pos": "n1", "neg": "com"},
    "film-capacitor": {"value": "100n", "volts": "100V", "a": "n1", "b": "n2"},
    "fuse": {"amps": "2A", "a": "n1", "b": "n2"},
    "gas-tube": {"value": "150V", "test_current": "20mA", "impedance": "150ohm", "strike": "185V",
                 "min_current": "5mA", "max_current": "30mA", "a": "n1", "k": "com"},
    "inductor": {"value": "10m", "resistance": "2ohm", "amps": "1A", "a": "n1", "b": "n2"},
    "fan": {"volts": "12V", "amps": "300mA", "a": "n1", "b": "com"},
    "lamp": {"volts": "6.3V", "amps": "150mA", "a": "n1", "b": "com"},
    "load": {"ohms": "10ohm", "a": "n1", "b": "com"},
    "mains": {"volts": "230V", "live": "n1", "neutral": "n2"},
    "meter": {"pos": "n1", "neg": "com"},
    "npn": {"volts": "60V", "amps": "1A", "power": "1W", "gain": "50..200",
            "c": "n1", "b": "n2", "e": "com"},
    "opamp": {"plus": "n1", "minus": "n2", "out": "n3", "vpos": "n4", "vneg": "com"},
    "paper-capacitor": {"value": "100n", "volts": "600V", "a": "n1", "b": "n2"},
    "pentode": {"mu": 11, "kg1": 650, "kg2": 4200, "kp": 60, "kvb": 24, "volts": "800V",
                "a": "n1", "g": "n2", "s": "n3", "k": "n4", "h1": "n5", "h2": "com"},
    "pnp": {"volts": "60V", "amps": "1A", "power": "1W", "c": "n1", "b": "n2", "e": "com"},
    "potentiometer": {"value": "1k", "power": "0.5W", "a": "n1", "wiper": "n2", "b": "com"},
    "rectifier": {"volts": "400V", "amps": "1A", "a": "n1", "k": "n2"},
    "regulator": {"value": "-12V", "input_max": "35V", "in": "n1", "com": "com", "out": "n2"},
    "relay": {"coil": "1k2", "volts": "24V", "c1": "n1", "c2": "com", "a": "n2", "b": "n3"},
    "resistor": {"value": "4k7", "power": "0.25W", "volts": "350V", "a": "n1", "b": "n2"},
    "scr": {"volts": "50V", "amps": "25A", "a": "n1", "k": "com", "g": "n2"},
    "selenium": {"plates": 10, "amps": "60mA", "a": "n1", "k": "n2"},
    "supply": {"volts": "12V", "limit": "1A", "pos": "n1", "neg": "com"},
    "switch": {"a": "n1", "b": "n2"},
    "tantalum": {"value": "22u", "volts": "20V", "pos": "n1", "neg": "com"},
    "trace": {"a": "n1", "b": "n2"},
    "transformer": {
        "windings": {
            "primary": {"start": "n1", "end": "n2", "volts": "230V", "ohms": "4ohm"},
            "second": {"start": "n3", "end": "com", "volts": "9V", "ohms": "0.1ohm", "amps": "1A"},
        }
    },
    "triode": {"mu": 100, "kg1": 1060, "kp": 600, "kvb": 300, "power": "1W",
               "a": "n1", "g": "n2", "k": "n3", "h1": "n4", "h2": "com"},
    "tube-rectifier": {"drop": "17V", "drop_at": "225mA", "volts": "500V",
                       "a1": "n1", "a2": "n2", "k": "n3", "h1": "n4", "h2": "n5"},
    "wire": {"a": "n1", "b": "n2"},
    "zener": {"value": "6.2V", "power": "400mW", "amps": "60mA", "a": "n1", "k": "n2"},
}  # fmt: skip
# A second way of filling in the kinds whose elements depend on their fields.
OTHERS: list[tuple[str, dict[str, Any]]] = [
    ("potentiometer", {"value": "1k", "set": "29%", "a": "n1", "wiper": "n2"}),
    ("load", {"amps": "1A", "a": "n1", "b": "com"}),
    ("load", {"amps": "1A", "volts": "12V", "a": "n1", "b": "com"}),
    ("switch", {"state": "open", "a": "n1", "b": "n2"}),
    ("relay", {**ENTRIES["relay"], "rest": "closed"}),
    ("resistor", {"value": "1k", "tech": "composition", "a": "n1", "b": "n2"}),
    ("resistor", {"value": "1k", "tech": "wirewound", "a": "n1", "b": "n2"}),
    ("comparator", {**ENTRIES["comparator"], "output": "push-pull"}),
    ("regulator", {"value": "1.25V", "adjustable": True, "adjust_current": "50uA",
                   "in": "n1", "com": "n3", "out": "n2"}),
]  # fmt: skip
OTHERS += [
    ("triode", {"mu": 20, "kg1": 1460, "kp": 84, "kvb": 300, "a": "n1", "g": "n2", "k": "n3"}),
    ("pentode", {"mu": 11, "kg1": 650, "kg2": 4200, "kp": 60, "kvb": 24, "strapped": True,
                 "a": "n1", "g": "n2", "k": "n3"}),
    ("tube-rectifier", {"drop": "17V", "drop_at": "225mA", "a1": "n1", "k": "n3"}),
]  # fmt: skip
# Terminals that may be left out: a rheostat's far end, heaters not drawn, a second anode, and a
# screen strapped to the anode.
OPTIONAL = {
    "potentiometer": {"b"},
    "triode": {"h1", "h2"},
    "pentode": {"s", "h1", "h2"},
    "tube-rectifier": {"a2", "h1", "h2"},
}
SAMPLES = [*ENTRIES.items(), *OTHERS]
# Not on a bench with a meter: what feeds or loads the machine, and the meter itself.
NO_BENCH_READING = {"mains", "supply", "load", "meter"}
# Outside the machine: taken as good.
NEVER_FAILS = {"mains", "supply"}


def build(kind: str, fields: dict[str, Any]) -> Part:
    """A part X1 of a kind."""
    return REGISTRY.kinds[kind](ref="X1", kind=kind, **fields)


def parts() -> list[Any]:
    """Every sample as a pytest parameter."""
    return [pytest.param(build(k, f), id=f"{k}-{i}") for i, (k, f) in enumerate(SAMPLES)]


def netlist_of(part: Part) -> Netlist:
    """The part on its own, its internal common put on com."""
    from dataclasses import replace

    from halfsplit.circuit.elements import COMMON

    net = Netlist("com")
    for e in part.elements():
        net.add(replace(e, nets=tuple("com" if n == COMMON else n for n in e.nets)))
    return net


def changes_exist(part: Part, changes: Overrides) -> None:
    """Every change must name an element of the part and a parameter of that element, finite."""
    topology = compile_netlist(netlist_of(part))
    assert changes
    for key, value in changes.items():
        assert key in topology.slot, key
        assert math.isfinite(value), key
    row = topology.rows([changes])[0]
    assert (row != topology.base).any(), "the change changes nothing"


def test_every_kind_has_a_sample() -> None:
    assert set(ENTRIES) == set(REGISTRY.kinds)


@pytest.mark.parametrize("name", sorted(REGISTRY.kinds))
def test_a_kind_says_what_it_is_and_how_often_it_fails(name: str) -> None:
    kind = REGISTRY.kinds[name]
    assert name == kind.KIND
    assert kind.__dict__.get("__doc__"), "no docstring of its own"
    rate = build(name, ENTRIES[name]).rate()
    assert rate.source
    assert (rate.per_million_hours > 0) != (name in NEVER_FAILS)


@pytest.mark.parametrize("name", sorted(REGISTRY.kinds))
def test_terminals_are_fields_and_all_are_needed(name: str) -> None:
    kind = REGISTRY.kinds[name]
    fields = {f.alias or n: f for n, f in kind.model_fields.items()}
    part = build(name, ENTRIES[name])
    assert set(kind.TERMINALS) <= set(fields)
    given = list(part.terminals().values())
    assert len(given) >= 2 and all(isinstance(n, str) for n in given)
    for terminal in set(kind.TERMINALS) - OPTIONAL.get(name, set()):
        with pytest.raises(ValidationError):
            build(name, {k: v for k, v in ENTRIES[name].items() if k != terminal})


@pytest.mark.parametrize("name", sorted(REGISTRY.kinds))
def test_an_unknown_field_is_refused(name: str) -> None:
    with pytest.raises(ValidationError):
        build(name, {**ENTRIES[name], "colour": "red"})


@pytest.mark.parametrize("part", parts())
def test_elements_are_named_after_the_part_and_touch_all_its_nets(part: Part) -> None:
    elements = part.elements()
    assert len({e.name for e in elements}) == len(elements)
    assert all(e.name == "X1" or e.name.startswith("X1:") for e in elements)
    assert set(part.terminals().values()) <= {n for e in elements for n in e.nets}
    for e in elements:
        assert all(math.isfinite(v) for v in e.vector()), e


@pytest.mark.parametrize("part", parts())
def test_modes_share_out_the_failures_and_exist(part: Part) -> None:
    modes = part.modes()
    if part.KIND in NEVER_FAILS:
        assert modes == []
        return
    assert sum(m.share for m in modes) == pytest.approx(1.0, abs=0.0101)
    assert len({m.name for m in modes}) == len(modes)
    already = {"switch open": "open", "switch closed": "short"}
    for mode in modes:
        assert mode.share > 0 and mode.source and mode.look, mode.name
        if already.get(f"{part.KIND} {part.__dict__.get('state')}") == mode.name:
            continue  # an open switch that is stuck open reads as it should
        changes_exist(part, mode.changes)


@pytest.mark.parametrize("part", parts())
def test_wanders_exist(part: Part) -> None:
    for wander in part.wanders():
        assert wander.name
        changes_exist(part, wander.changes)


@pytest.mark.parametrize("part", parts())
def test_ratings_are_of_its_own_elements(part: Part) -> None:
    names = {e.name for e in part.elements()}
    for rating in part.ratings():
        assert rating.element in names
        assert rating.limit > 0 and rating.source


@pytest.mark.parametrize(
    "name",
    ["bridge", "diode", "electrolytic", "fuse", "gas-tube", "inductor", "npn", "pentode", "pnp",
     "potentiometer", "rectifier", "regulator", "resistor", "scr", "selenium", "tantalum",
     "transformer", "triode", "tube-rectifier", "zener"],
)  # fmt: skip
def test_given_limits_become_ratings(name: str) -> None:
    assert build(name, ENTRIES[name]).ratings()


@pytest.mark.parametrize("part", parts())
def test_bench_readings_are_between_its_own_terminals(part: Part) -> None:
    looks = part.dead()
    assert bool(looks) == (part.KIND not in NO_BENCH_READING)
    for look in looks:
        assert {look.pos, look.neg} <= set(part.terminals()), look
        assert look.pos != look.neg
        assert 0 <= look.low < look.high
        assert look.words
        if look.test == "diode":
            assert look.low < 3.0  # a diode test shows volts, not ohms


@pytest.mark.parametrize("part", parts())
def test_a_label_is_a_few_words(part: Part) -> None:
    assert 1 <= len(part.label().split()) <= 6


def test_a_removed_part_leaves_nothing_behind() -> None:
    for name, fields in SAMPLES:
        part = build(name, fields)
        for e in part.elements():
            if fields.get("state") != "open":  # an open switch leaves nothing in any case
                changes_exist(part, e.gone())


def test_modes_that_do_not_sum_to_one_are_refused() -> None:
    from halfsplit.parts.base import shares

    with pytest.raises(ValueError, match=r"0\.900"):
        shares("x", {"open": (0.5, {}, ""), "short": (0.4, {}, "")})


def test_a_pentode_has_a_screen_or_is_strapped() -> None:
    plain = {k: v for k, v in ENTRIES["pentode"].items() if k != "s"}
    with pytest.raises(ValidationError, match="strapped: true"):
        build("pentode", plain)
    with pytest.raises(ValidationError, match="leave s out"):
        build("pentode", {**ENTRIES["pentode"], "strapped": True})


def test_half_a_heater_is_refused() -> None:
    with pytest.raises(ValidationError, match="both ends"):
        build("triode", {k: v for k, v in ENTRIES["triode"].items() if k != "h2"})


@pytest.mark.parametrize(
    ("field", "text", "words"),
    [("strike", "149V", "strikes above"), ("min_current", "31mA", "below max_current")],
)
def test_a_gas_tube_that_cannot_work_is_refused(field: str, text: str, words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        build("gas-tube", {**ENTRIES["gas-tube"], field: text, "strike_typical": text}
              if field == "strike" else {**ENTRIES["gas-tube"], field: text})  # fmt: skip


def test_an_aged_selenium_stack_drops_twice_as_much() -> None:
    part = build("selenium", ENTRIES["selenium"])
    aged = next(m for m in part.modes() if m.name == "aged").changes["X1", "nvt"]
    diode = part.elements()[0].values
    drops = [n * math.log1p(60e-3 / diode["is"]) for n in (diode["nvt"], aged)]
    assert drops[0] == pytest.approx(10.0, rel=0.01)  # a volt a plate at rated current
    assert drops[1] == pytest.approx(20.0, rel=0.01)
