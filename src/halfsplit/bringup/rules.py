"""Published rules for reforming old electrolytics and for what they may leak; they disagree."""

from __future__ import annotations

from dataclasses import dataclass

SECOND_HAND = "read in a second-hand public copy"


@dataclass(frozen=True)
class Leakage:
    """A rule for the most leakage at rated volts once formed."""

    name: str
    words: str
    source: str

    def amps(self, farads: float, rated: float) -> float:
        """Limit [A] for a capacitor of `farads` rated `rated` volts. Raises ValueError above the
        volts the rule covers."""
        micro = farads * 1e6
        if self.name == "small-part":
            return max(0.01 * micro * rated, 3.0) * 1e-6
        for top, factor in JAN_STEPS:
            if rated <= top:
                return (factor * micro + 0.3) * 1e-3
        raise ValueError(f"{self.name} ends at {JAN_STEPS[-1][0]:g} V")


JAN_STEPS = ((100.0, 0.01), (250.0, 0.02), (350.0, 0.025), (450.0, 0.04))
LEAKAGES = {
    rule.name: rule
    for rule in (
        Leakage(
            "jan-c-62",
            "mA = K × µF + 0.3; K .01 to 100 V, .02 to 250, .025 to 350, .04 to 450",
            f"JAN-C-62, {SECOND_HAND}",
        ),
        Leakage(
            "small-part",
            "µA = 0.01 × µF × V, at least 3 µA",
            f"maker's rule for later small aluminium electrolytics, {SECOND_HAND}",
        ),
    )
}


@dataclass(frozen=True)
class Rule:
    """A way to reform.

    Attributes
    ----------
    most_amps: current never passed, None where the rule names none.
    hold: seconds at full volts, before what a month of storage adds (`hold_a_month`).
    shares: of full volts, one after another, and the seconds held at all but the last.
    drop_limit: share of the supply the series resistor may still drop after an hour.
    """

    name: str
    words: str
    source: str
    ohms_low: float
    ohms_high: float
    most_amps: float | None
    hold: float
    hold_a_month: float = 0.0
    shares: tuple[float, ...] = (0.25, 0.5, 0.75, 1.0)
    step_hold: float = 600.0
    drop_limit: float | None = None

    def ohms(self, rated: float) -> float:
        """Series resistor the rule asks for at this rating [ohm]."""
        return self.ohms_low if rated <= 75.0 else self.ohms_high

    def holding(self, months: float) -> float:
        """Seconds at full volts after so many months on the shelf."""
        return self.hold + self.hold_a_month * months


RULES = {
    rule.name: rule
    for rule in (
        Rule(
            "four-hours",
            "10 kΩ to 75 V, 100 kΩ above, never over 1 mA, raised slowly, 4 h at full volts",
            f"a maker's re-aging note of October 1993, {SECOND_HAND}",
            10e3,
            100e3,
            1e-3,
            4 * 3600.0,
        ),
        Rule(
            "half-hour",
            "rated volts through about 1 kΩ for 30 min; half volts for 10 min first",
            f"makers' voltage treatment after storage, {SECOND_HAND}",
            1e3,
            1e3,
            None,
            1800.0,
            shares=(0.5, 1.0),
        ),
        Rule(
            "by-months",
            "5 min and 1 min for each month stored, through 20 to 50 kΩ; rejected if the "
            "resistor still drops over 10 % of the supply after 1 h (one copy says 20 %)",
            f"handbook text without an author, {SECOND_HAND}",
            30e3,
            30e3,
            None,
            300.0,
            60.0,
            shares=(1.0,),
            drop_limit=0.10,
        ),
        Rule(
            "ten-milliamps",
            "no more than 10 mA; raised slowly. Only the ceiling is known, the rest is practice",
            f"a public note citing MIL-HDBK-1131C; the handbook itself was not read, {SECOND_HAND}",
            10e3,
            50e3,
            10e-3,
            3600.0,
        ),
    )
}

# Endurance end of life of IEC 60384-4-1: capacitance down by over 30 %, or series resistance over
# three times its first value. Another common rule: under 80 %, or over 200 %. Both second-hand.
END_OF_LIFE = (0.70, 3.0)
END_SOURCE = f"end of endurance of IEC 60384-4-1, {SECOND_HAND}"
HALVES_EACH = 10.0  # K cooler doubles life; second-hand


def worn(farads: float, marked: float, esr: float | None = None, new: float | None = None) -> str:
    """Why a capacitor measured after reforming is at its end of life; "" where it is not."""
    least, most = END_OF_LIFE
    if farads < least * marked:
        return f"{100 * farads / marked:.0f} % of its mark, under {100 * least:.0f} %"
    if esr is not None and new is not None and esr > most * new:
        return f"series resistance {esr / new:.1f} times a new one's, over {most:g}"
    return ""


def life_factor(cooler: float) -> float:
    """How many times longer a capacitor lasts `cooler` kelvin cooler."""
    return float(2.0 ** (cooler / HALVES_EACH))


SHELF = (
    (1.0, "within specification"),
    (3.0, "test"),
    (4.0, "usually reform"),
    (5.0, "expect it sound after reforming"),
    (10.0, "the usual end of shelf life"),
)


def shelf(years: float) -> str:
    """What a shelf time at 35 degC and 60 % humidity usually means, by the note of 1993."""
    return next((words for top, words in SHELF if years <= top), "past the usual end of shelf life")
