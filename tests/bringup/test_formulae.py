"""Wires, traces, fuses and charges against published rows, each with its source."""

from __future__ import annotations

import pytest

from halfsplit.bringup.conductors import (
    awg_millimetres,
    circular_mils,
    fuse_equivalent,
    onderdonk,
    preece,
    replacement_wire,
    trace_amps,
    trace_section,
    trace_width,
)
from halfsplit.bringup.touch import untouchable
from halfsplit.faults.cascades import chance_of
from halfsplit.parts.kinds.fuse import Fuse


def fuse(amps: float, speed: str = "F", standard: str = "") -> Fuse:
    return Fuse.model_validate(
        {
            "kind": "fuse",
            "amps": f"{amps}A",
            "speed": speed,
            "a": "a",
            "b": "b",
            **({"standard": standard} if standard else {}),
        }
    )


def test_preece_of_a_posted_wire() -> None:
    """0.0524 in fuses at 122.9 A; physicsforums.com thread 364495 has 123 A for the same law."""
    assert preece(0.0524 * 25.4) == pytest.approx(123.0, rel=0.005)


@pytest.mark.parametrize(
    ("section", "seconds", "amps"), [(2581.0, 5.0, 168.9), (404.0, 1.0, 59.1), (404.0, 5.0, 26.4)]
)
def test_onderdonk_by_hand(section: float, seconds: float, amps: float) -> None:
    """The equation as reprinted in pcdandf.com, worked by hand at 25 degC. The forum post of the
    first row says 178 A: it has the sign of the ambient term wrong."""
    assert onderdonk(section, seconds) == pytest.approx(amps, rel=0.005)


@pytest.mark.parametrize(("gauge", "millimetres"), [(16, 1.291), (24, 0.5106)])
def test_wire_gauge(gauge: int, millimetres: float) -> None:
    """AWG diameters by the defining formula (ASTM B258; from memory, unconfirmed)."""
    assert awg_millimetres(gauge) == pytest.approx(millimetres, rel=1e-3)
    assert circular_mils(awg_millimetres(24)) == pytest.approx(404.0, rel=0.005)


def test_trace_of_a_published_spot() -> None:
    """0.5 mm of 1 oz copper outside a board carries 1.44 A at 10 K: a public calculator's table
    (repository 54765063114); IPC-2221's equation itself is printed by qorvo.com."""
    section = 0.5 * 39.3701 * 1.378
    assert trace_amps(section, 10.0) == pytest.approx(1.44, rel=0.01)


@pytest.mark.parametrize(
    ("amps", "inner", "section", "millimetres"),
    [(1.0, False, 16.30, 0.300), (1.0, True, 42.39, 0.781), (5.0, False, None, 108.9 * 0.0254)],
)
def test_trace_width(amps: float, inner: bool, section: float | None, millimetres: float) -> None:
    """IPC-2221 as printed by qorvo.com, k 0.048 outside and 0.024 inside, worked by hand."""
    if section is not None:
        assert trace_section(amps, 10.0, inner) == pytest.approx(section, rel=2e-3)
    assert 1e3 * trace_width(amps, 1.0, 10.0, inner) == pytest.approx(millimetres, rel=5e-3)


def test_wire_for_a_burnt_trace_carries_it() -> None:
    gauge, metres = replacement_wire(5.0)
    # 5 A in 2 x pi x 0.322 mm of skin: 1.3 W and 20 cm2 a metre, some 20 K at 30 W/m2K, by hand.
    assert gauge == 22
    assert 3.14159 / 4 * (metres * 39370.1) ** 2 >= trace_section(5.0, inner=True)
    thinner = awg_millimetres(gauge + 2)
    assert 3.14159 / 4 * (thinner * 39.3701) ** 2 < trace_section(5.0, inner=True)


def test_one_ampere_is_not_one_ampere() -> None:
    """An IEC 1 A fuse must hold 1.5 A for an hour, a UL 1 A must open at 1.35 A: IEC 60127-2
    sheet 2 in a maker's 617 series sheet, UL 248-14 in its catalogue."""
    words = " ".join(fuse_equivalent(fuse(1.0, standard="IEC"), fuse(1.0, standard="UL")))
    assert "not the same thing" in words and "1.5 A" in words and "1.4 A" in words
    assert fuse_equivalent(fuse(1.0), fuse(1.0)) == []
    assert "15 A fitted" in fuse_equivalent(fuse(8.0), fuse(15.0))[0]
    assert "slower" in fuse_equivalent(fuse(2.0, "F"), fuse(2.0, "T"))[0]


@pytest.mark.parametrize(("ratio", "low", "high"), [(1.5, 0.0, 0.0), (2.1, 0.9, 1.0)])
def test_fuse_between_hold_and_open(ratio: float, low: float, high: float) -> None:
    """150 % is held an hour or more, 210 % opens within half an hour: IEC 60127-2 sheet 2, 0.4 to
    6.3 A, in a maker's 617 series sheet."""
    assert low <= chance_of("amps", ratio, "fuse") <= high


def test_chance_rises_with_overstress() -> None:
    assert chance_of("watts", 1.0) == 0.0
    assert chance_of("watts", 3.0) == pytest.approx(0.5)
    found = [chance_of("volts", r) for r in (1.0, 1.2, 1.5, 2.0, 4.0)]
    assert found == sorted(found) and found[-1] < 1.0


@pytest.mark.parametrize(
    ("volts", "farads", "over"),
    [
        (42.0, 33e-3, False),
        (60.0, 0.1e-6, False),
        (60.0, 0.12e-6, True),
        (450.0, 0.1e-6, False),
        (900.0, 0.05e-6, False),
        (900.0, 0.051e-6, True),
        (20e3, 1.7e-9, False),
        (20e3, 1.8e-9, True),
    ],
)
def test_charges_that_may_be_touched(volts: float, farads: float, over: bool) -> None:
    """IEC 60335-1 cl. 8.1.4: 0.1 uF to 450 V, 45 uC to 15 kV, 350 mJ above; read in a second-hand
    public copy."""
    assert bool(untouchable(volts, farads)) == over
