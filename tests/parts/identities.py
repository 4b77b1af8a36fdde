"""What the numbers of one catalogue row must have to do with each other, whatever its sheet says.

Each identity takes a row and yields a sentence for everything that is out of step. They use no
code that makes circuits of the rows; valves are held against their working points elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

from halfsplit.parts import catalogue
from halfsplit.quantity import parse, parse_range

HALF_CYCLES = (8.3e-3, 10e-3)  # s, half a cycle at 60 and at 50 Hz
Told = Iterator[str]


class Numbers:
    """SI values of one row by field name; None for a field it does not have."""

    def __init__(self, row: catalogue.Row, sources: Any) -> None:
        self.row, self.sources = row, sources

    def __getitem__(self, field: str) -> float:
        return parse(str(self.row.fields[field]), catalogue.FIELD_UNITS[field])

    def get(self, field: str) -> float | None:
        return self[field] if field in self.row.fields else None

    def has(self, *fields: str) -> bool:
        return set(fields) <= set(self.row.fields)

    def derived(self, *fields: str) -> bool:
        """Whether one of the fields was worked out from others, so that agreeing proves nothing."""
        return any(self.sources[self.row.sources[f]].status == "derived" for f in fields)


def near(a: float, b: float, share: float) -> bool:
    return abs(a - b) <= share * abs(b)


# -- zeners ---------------------------------------------------------------------------------------


def zener_currents(n: Numbers) -> Told:
    """Test current below the largest current, and neither over the rated power."""
    watts = n["value"] * n["test_current"]
    if watts > n["power"]:
        yield f"{watts:.3g} W at its test current"
    if n.has("max_current"):
        if n["max_current"] < n["test_current"]:
            yield "largest current below its test current"
        if n["value"] * n["max_current"] > 1.01 * n["power"]:
            yield f"{n['value'] * n['max_current']:.3g} W at its largest current"


QUARTER = re.compile(r"1N(9\d\dB|47\d\dA?|52[4-9]\dB|53\d\dB|29\d\dB|33\d\dB)")


def zener_quarter(n: Numbers) -> Told:
    """Registered series are tested at a quarter of their power: JEDEC, seen in every such table."""
    if not QUARTER.fullmatch(n.row.type) or n.row.type in FLAT:
        return
    # Rounding of 5 W currents to whole steps costs up to 13 % (40 mA at 30 V, 50 mA at 28 V).
    if not near(n["value"] * n["test_current"], n["power"] / 4, 0.15):
        yield f"{n['value'] * n['test_current']:.3g} W at test current, not a quarter of its power"


FLAT = {f"1N{i}B" for i in range(5221, 5243)}  # these are all tested at 20 mA


def zener_slope(n: Numbers) -> Told:
    """Slope at the knee above the slope at test current; and that below a third of the voltage."""
    if n["impedance"] * n["test_current"] > n["value"] / 3:
        yield "its slope at the test current would take a third of its voltage"
    if n.has("knee_impedance", "knee_current"):
        if n["knee_impedance"] <= n["impedance"]:
            yield "no steeper at its knee"
        if n["knee_current"] >= n["test_current"]:
            yield "knee current above test current"


SUFFIX = (
    (r"1N(47[2-6]\d|7[45]\d)A", "5%"),
    (r"1N(47[2-6]\d|7[45]\d)", "10%"),
    (r"1N\d{3,4}B", "5%"),
    (r"BZ[XY]\d\d-C\w+", "5%"),
)


def zener_suffix(n: Numbers) -> Told:
    """The letter at the end of the number is the tolerance; of a BZ type the volts follow it."""
    for pattern, tolerance in SUFFIX:
        if re.fullmatch(pattern, n.row.type):
            if n.row.fields["tolerance"] != tolerance:
                yield f"suffix means {tolerance}"
            break
    if found := re.fullmatch(r"BZ[XY]\d\d-C(\d+)(?:V(\d))?", n.row.type):
        named = float(f"{found[1]}.{found[2] or 0}")
        if named != n["value"]:
            yield f"its name says {named} V"


# -- heat -----------------------------------------------------------------------------------------
CASE = ("TO-3", "TO-66", "TO-220", "TO-218", "TO-126", "TO-36")


def heat(n: Numbers) -> Told:
    """Rated power times thermal resistance ends at the hottest junction, from 25 degC or warmer."""
    if not n.has("power", "junction_max"):
        return
    for theta in ("theta_jc", "theta_ja"):
        if not n.has(theta) or n.derived(theta):
            continue
        if (n.row.kind != "zener") and (theta == "theta_jc") != (
            n.row.fields.get("package") in CASE
        ):
            continue  # power of these packages is for the case held cool, of others in free air
        room = n["junction_max"] - n["power"] * n[theta]
        if room < 25 - 0.03 * n["junction_max"]:
            yield f"at rated power its junction is {25 - room:.0f} K over its limit ({theta})"
        warm = n.row.fields.get("made_of") == "germanium" or n.row.kind == "zener"
        if room > (85 if warm else 40):
            yield f"rated power would be for {room:.0f} degC ({theta})"


# -- diodes, thyristors, triacs -------------------------------------------------------------------


def surge_and_i2t(n: Numbers) -> Told:
    """A half sine of peak I lasting t carries I2 t / 2; sheets print both sides separately."""
    if not n.has("surge", "i2t") or n.derived("i2t"):
        return
    both = [n["surge"] ** 2 * t / 2 for t in HALF_CYCLES]
    if not any(near(n["i2t"], x, 0.06) for x in both):
        yield f"surge says {both[0]:.3g} or {both[1]:.3g} A2s"


def surge_and_amps(n: Numbers) -> Told:
    """One half-cycle may carry several times, and not hundreds of times, the steady current."""
    if n.has("surge", "amps") and not 3.5 <= n["surge"] / n["amps"] <= 120:
        yield f"surge is {n['surge'] / n['amps']:.1f} times the steady current"


def diode_drop(n: Numbers) -> Told:
    """Germanium and Schottky drop less than silicon at the current given."""
    made, drop = n.row.fields.get("made_of", "silicon"), n["drop"]
    if made == "germanium" and not 0.2 <= drop <= 0.65:
        yield "no germanium drop"
    schottky = re.fullmatch(r"1N58(1[7-9]|[23]\d)|1N609[5-8]|SD[45]1", n.row.type)
    if made == "silicon" and schottky and not 0.3 <= drop <= 0.65:
        yield "no Schottky drop"
    if made == "silicon" and not schottky and not 0.65 <= drop <= 1.3:
        yield "no silicon drop"


def trigger(n: Numbers) -> Told:
    """Gate, holding and on-state figures in step with each other."""
    if not 0.5 <= n["trigger_volts"] <= 3:
        yield "gate volts of no thyristor"
    for field in ("trigger_amps", "holding_amps"):
        if n.has(field) and n[field] > n["amps"] / 4:
            yield f"{field} near its rated current"
    if not 0.9 <= n["on_volts"] <= 2.5:
        yield "on-state volts of no thyristor"


# Volts by the last letter of the number, as the trade spells them.
LETTER = {"Q": 15, "Y": 30, "F": 50, "A": 100, "B": 200, "C": 300, "D": 400, "E": 500, "M": 600}


def letter(n: Numbers) -> Told:
    """The letter of C106, C122, S2800 and TIC types is the voltage."""
    found = re.fullmatch(r"(C106|C122|S2800|C35|T2800|SC14[16])([A-Z])", n.row.type)
    tic = re.fullmatch(r"(TIC\d{3})([A-D])", n.row.type)
    code = found or tic
    if code and n["volts"] != LETTER[code[2]]:
        yield f"its letter says {LETTER[code[2]]} V"


# -- transistors ----------------------------------------------------------------------------------


def transistor_corner(n: Numbers) -> Told:
    """The corner of full current and full power lies below the rated voltage."""
    if n["power"] > 1.001 * n["volts"] * n["amps"]:
        yield f"{n['power']} W is never reached within {n['volts']} V and {n['amps']} A"


def transistor_volts(n: Numbers) -> Told:
    """Collector to base stands no less than collector to emitter, base to emitter far less."""
    if n.has("collector_base") and n["collector_base"] < n["volts"]:
        yield "collector to base stands less than collector to emitter"
    silicon = n.row.fields.get("made_of") == "silicon"
    if silicon and n.has("emitter_base") and not 1 <= n["emitter_base"] <= 12:
        yield "base to emitter of no silicon transistor"


def transistor_gain(n: Numbers) -> Told:
    """A range that rises, at currents the type may carry, with its typical gain inside."""
    gain = parse_range(str(n.row.fields["gain"]), "1")
    if not 1 < gain.low < gain.high:
        yield "gain range does not rise"
    if n.has("gain_typical") and not gain.low <= n["gain_typical"] <= gain.high:
        yield "typical gain outside its range"
    for field in ("gain_at", "base_emitter_at"):
        if n.has(field) and n[field] > n["amps"]:
            yield f"{field} above its rated current"


def transistor_stuff(n: Numbers) -> Told:
    """Germanium: a low base-emitter voltage, and dead well below where silicon is."""
    low = n["base_emitter"] < 0.4
    if low != (n.row.fields["made_of"] == "germanium"):
        yield "base-emitter volts of the other semiconductor"
    if n.has("junction_max") and (n["junction_max"] <= 115) != low and n["junction_max"] != 100:
        yield f"junction of {n['junction_max']:.0f} degC"


# -- regulators, amplifiers, control circuits -----------------------------------------------------


def regulator_room(n: Numbers) -> Told:
    """Output and dropout fit below the highest input, limits above what the type may give."""
    if abs(n["value"]) + n["dropout"] >= n["input_max"]:
        yield "no input it may have is enough"
    if n["quiescent"] > n["amps"] / 10:
        yield "standing current a tenth of its output"
    if n.has("short_amps") and n["short_amps"] > n["amps"]:
        yield "more into a short than it ever gives"
    if n.has("dropout_at") and n["dropout_at"] > n["amps"]:
        yield "dropout at more current than it gives"
    if not 0.2 <= n["dropout"] <= 3:
        yield "dropout of no such regulator"


def regulator_name(n: Numbers) -> Told:
    """The number is the voltage: 7812, 79M05, 78L05."""
    found = re.fullmatch(r"(78|79)[LMHP]?(\d\d(?:\.\d)?)", n.row.type)
    if found and found[2] not in ("85",) and not near(abs(n["value"]), float(found[2]), 0.04):
        yield f"its name says {found[2]} V"
    if found and (n["value"] < 0) != (found[1] == "79"):
        yield "sign against its name"


def amplifier(n: Numbers) -> Told:
    """Figures of one section within what was ever made."""
    if not 1e-6 <= n["offset"] <= 0.012:
        yield "offset"
    if not 0 < n["bias"] <= 3e-5:
        yield "bias"
    if not 1e-4 <= n["quiescent"] <= 0.016:
        yield "quiescent"
    if not 1000 <= n["gain"] <= 5e6:
        yield "gain"


def control(n: Numbers) -> Told:
    """Ranges in order."""
    for low, high in (
        ("reference_low", "reference"),
        ("reference", "reference_high"),
        ("input_min", "input_max"),
        ("output_low", "output_high"),
        ("quiescent", "quiescent_most"),
        ("output_high", "input_max"),
    ):
        if n.has(low, high) and n[low] > n[high]:
            yield f"{low} above {high}"


# -- valves and gas tubes -------------------------------------------------------------------------
HEATERS = (
    (r"5[A-Z].*|G[Z].*", (5.0,)),
    (r"6[A-Z].*|E[A-Z].*", (6.3,)),
    (r"12[A-Z].*", (6.3, 12.6)),
    (r"35[A-Z].*", (35.0,)),
    (r"A[Z].*", (4.0,)),
)


def heater(n: Numbers) -> Told:
    """The number tells the heater volts: 5U4, 6SN7, 12AU7, EF86, GZ34, AZ41."""
    for pattern, volts in HEATERS:
        if re.fullmatch(pattern, n.row.type) and n["heater_volts"] not in volts:
            yield f"its name says {volts[0]} V"
    if not 0.5 <= n["heater_volts"] * n["heater_amps"] <= 25:
        yield "heater of no receiving valve"


def gas_range(n: Numbers) -> Told:
    """Test current inside the range, striking above burning, and the slope a small share of it."""
    if not n["min_current"] <= n["test_current"] <= n["max_current"]:
        yield "test current outside its range"
    if not n["value"] < n.get("strike_typical") or not n["strike_typical"] <= n["strike"]:
        yield "burning, usual and highest striking volts out of order"
    swing = n["impedance"] * (n["max_current"] - n["min_current"])
    if swing > 0.1 * n["value"]:
        yield f"its slope would move it {swing / n['value']:.0%} over its range"
    found = re.fullmatch(r"([1-9]\d+)[A-C]\d", n.row.type)
    if found and not near(n["value"], float(found[1]), 0.05):
        yield f"its name says {found[1]} V"


# -- fuses, chips ---------------------------------------------------------------------------------


def fuse_name(n: Numbers) -> Told:
    """The name is the marking: letter, then current."""
    found = re.fullmatch(r"(?:UL-)?(FF|F|M|TT|T)([\d.]+m?A)", n.row.type)
    if not found or found[1] != n.row.fields["speed"] or n["amps"] != parse(found[2], "A"):
        yield "name and rating differ"


def chip_draw(n: Numbers) -> Told:
    """Standby, typical and most in order and of one size; no package over two watts."""
    watts = 0.0
    for volts, draw in n.row.fields["supplies"].items():
        amps = {key: parse(str(text), "A") for key, text in draw.items()}
        if not amps.get("standby", 0.0) <= amps["typical"] <= amps["most"]:
            yield f"{volts}: standby, typical and most out of order"
        small = amps["most"] <= 5e-3
        if not small and amps["most"] > 3.6 * amps["typical"]:
            yield f"{volts}: the most is {amps['most'] / amps['typical']:.1f} times the typical"
        watts += abs(parse(volts, "V")) * amps["most"]
    if watts > 2:
        yield f"{watts:.2f} W"


def chip_pins(n: Numbers) -> Told:
    """Supply pins the package has, no pin twice; most logic has its supply at two corners."""
    count = int(str(n.row.fields["package"]).removeprefix("DIP-"))
    words = str(n.row.fields["pinout"]).partition(":")[2].partition(";")[0]
    pins = [int(p) for p in re.findall(r"\b(\d+)(?= [+\-c]| and| supplies| plus| minus)", words)]
    if not pins or max(pins) > count or len(set(pins)) != len(pins):
        yield f"pins {pins} of {count}"


IDENTITIES: dict[str, tuple[Callable[[Numbers], Told], ...]] = {
    "zener": (zener_currents, zener_quarter, zener_slope, zener_suffix, heat),
    **dict.fromkeys(("diode",), (diode_drop, surge_and_i2t)),
    **dict.fromkeys(("rectifier", "bridge"), (diode_drop, surge_and_i2t, surge_and_amps)),
    **dict.fromkeys(("scr", "triac"), (trigger, letter, surge_and_i2t, surge_and_amps)),
    **dict.fromkeys(
        ("npn", "pnp"),
        (transistor_corner, transistor_volts, transistor_gain, transistor_stuff, heat),
    ),
    "regulator": (regulator_room, regulator_name),
    **dict.fromkeys(("opamp", "comparator"), (amplifier,)),
    "control": (control,),
    **dict.fromkeys(("triode", "pentode", "tube-rectifier", "thyratron"), (heater,)),
    "gas-tube": (gas_range,),
    "fuse": (fuse_name,),
    "chip": (chip_draw, chip_pins),
}
