"""When a reading has settled, on streams made by arithmetic from what probes do."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from halfsplit.instruments.hold import SETTLING, Held, Hold
from halfsplit.instruments.port import Quantity, Sample

AIR = 4.0  # s of probes in the air


def stream(
    volts: Callable[[float], float],
    seconds: float,
    *,
    noise: float = 0.0,
    step: float = 1e-3,
    rate: float = 10.0,
    seed: int = 1,
    start: float = 0.0,
) -> list[Sample]:
    """What a meter with a last digit of `step` sends `rate` times a second."""
    rand, found = random.Random(seed), []
    for k in range(round(seconds * rate)):
        at = start + k / rate
        value = volts(k / rate) + rand.gauss(0.0, noise)
        if math.isfinite(value):
            value = round(value / step) * step
        found.append(Sample(value, "V", f"{value}", f"{value}", step, at=at))
    return found


def held(samples: list[Sample], quantity: Quantity = "volts") -> list[Held]:
    hold = Hold(quantity=quantity)
    return [found for s in samples if (found := hold.add(s)) is not None]


def test_a_steady_reading_is_told_once() -> None:
    found = held(stream(lambda t: 4.98, 20.0, noise=1e-3))
    assert len(found) == 1 and found[0].settled
    assert found[0].value == pytest.approx(4.98, abs=3e-3)
    assert 0.9 <= found[0].sample.at <= 2.0


@pytest.mark.parametrize("rate", [1.0, 2.5, 10.0, 50.0])
@pytest.mark.parametrize("volts", [-250.0, -12.04, 0.05, 4.98, 30.0])
def test_at_any_pace_and_size(rate: float, volts: float) -> None:
    found = held(stream(lambda t: volts, 12.0, noise=abs(volts) * 3e-4, rate=rate))
    assert len(found) == 1
    assert found[0].value == pytest.approx(volts, rel=3e-3, abs=2e-3)


def test_probes_in_the_air_are_never_told() -> None:
    for seed in range(10):
        hum = stream(lambda t: 0.004 * math.sin(2 * math.pi * 1.7 * t), 60.0, noise=3e-3, seed=seed)
        assert held(hum) == []
    assert held(stream(lambda t: math.inf, 20.0), "ohms") == []


def test_a_dead_rail_is_taken_by_key() -> None:
    hold = Hold()
    for sample in stream(lambda t: 0.0, 5.0):
        assert hold.add(sample) is None
    taken = hold.take()
    assert taken is not None and taken.value == 0.0 and taken.settled


def test_nought_ohms_is_a_reading() -> None:
    assert held(stream(lambda t: 0.2, 5.0, step=0.1), "ohms")[0].value == pytest.approx(0.2)


@pytest.mark.parametrize("tau", [0.3, 1.0, 3.0, 10.0, 20.0])
@pytest.mark.parametrize("step", [1e-4, 1e-3, 1e-2])
def test_a_charging_capacitor_is_told_only_near_its_end(tau: float, step: float) -> None:
    """12 (1 - exp(-t/tau)) V: what is told lies within 1 % + 3 digits of 12 V."""
    curve = stream(lambda t: 12.0 * -math.expm1(-t / tau), 15.0 * tau + 10.0, step=step)
    found = held(curve)
    assert found, "it must be told in the end"
    assert all(abs(h.value - 12.0) <= 0.12 + 3 * step for h in found)


@pytest.mark.parametrize("tau", [1.0, 5.0, 20.0])
def test_the_same_in_noise(tau: float) -> None:
    for seed in range(20):
        curve = stream(
            lambda t: 12.0 * -math.expm1(-t / tau), 12.0 * tau + 10.0, noise=2e-3, seed=seed
        )
        found = held(curve)
        assert found and all(abs(h.value - 12.0) <= 0.15 for h in found), (tau, seed)


def test_a_steady_drift_is_not_told() -> None:
    assert held(stream(lambda t: 5.0 + 0.02 * t, 30.0)) == []


def test_ripple_that_wanders_is_not_told() -> None:
    assert held(stream(lambda t: 5.0 + 0.2 * math.sin(2 * math.pi * 0.4 * t), 30.0)) == []


def test_a_slipping_probe() -> None:
    """Contact comes and goes four times a second: nothing until it is firm."""

    def slipping(t: float) -> float:
        return 12.0 if t > 6.0 or int(t * 8) % 3 else 0.01

    found = held(stream(slipping, 10.0, noise=2e-3))
    assert len(found) == 1 and found[0].sample.at > 6.9
    assert found[0].value == pytest.approx(12.0, abs=0.02)


def test_one_wild_reading_does_not_tell_twice() -> None:
    samples = stream(lambda t: 12.0, 10.0)
    wild = samples[60]
    samples[60] = Sample(3.0, "V", "3", "3", 1e-3, at=wild.at)
    assert len(held(samples)) == 1


def test_next_point_is_told_after_the_first_is_left() -> None:
    def walk(t: float) -> float:
        return 5.0 if t < 4 else 0.003 if t < 6 else 12.0 if t < 10 else 0.002 if t < 12 else 12.0

    assert [round(h.value) for h in held(stream(walk, 16.0, noise=1e-3))] == [5, 12, 12]


def test_straight_from_one_point_to_the_next() -> None:
    assert [round(h.value) for h in held(stream(lambda t: 5.0 if t < 4 else 12.0, 9.0))] == [5, 12]


def test_small_changes_of_a_held_reading_are_not_told_again() -> None:
    assert len(held(stream(lambda t: 5.0 if t < 4 else 5.02, 10.0))) == 1


def test_a_held_display_and_a_pause_start_afresh() -> None:
    first = stream(lambda t: 5.0, 1.0)
    later = stream(lambda t: 5.0, 1.0, start=60.0)
    assert held([*first, *later]) == []
    frozen = [Sample(5.0, "V", "5", "5", 1e-3, hold=True, at=k / 10) for k in range(50)]
    assert held(frozen) == []


def test_no_number_is_never_told() -> None:
    assert held([Sample(math.nan, "V", "no value", "", at=k / 10) for k in range(50)]) == []


def test_taken_by_key_says_that_it_moved() -> None:
    hold = Hold()
    for sample in stream(lambda t: 5.0 + t, 3.0):
        hold.add(sample)
    taken = hold.take()
    assert taken is not None and not taken.settled
    assert taken.low < taken.value < taken.high and taken.creep == pytest.approx(1.0, rel=0.05)


def test_what_is_told_is_what_the_meter_sent() -> None:
    samples = stream(lambda t: 4.98, 5.0, noise=2e-3)
    assert held(samples)[0].value in {s.value for s in samples}


@pytest.mark.parametrize("quantity", list(SETTLING))
def test_every_quantity_settles(quantity: Quantity) -> None:
    assert len(held(stream(lambda t: 123.0, 5.0), quantity)) == 1
