"""What the fields of a catalogue row mean: unit, words, and what a row of each kind must say."""

from __future__ import annotations

from collections.abc import Mapping

from halfsplit.quantity import Unit

# Unit of every field that holds a quantity. `i2t` is in A²s and has no unit sign.
FIELD_UNITS: Mapping[str, Unit] = {
    **dict.fromkeys(("volts", "value", "collector_base", "emitter_base", "drop"), "V"),
    **dict.fromkeys(("base_emitter", "saturation", "early", "trigger_volts", "on_volts"), "V"),
    **dict.fromkeys(("dropout", "input_max", "offset", "swing_high", "swing_low"), "V"),
    **dict.fromkeys(("supply", "pull_in", "drop_out"), "V"),
    **dict.fromkeys(("amps", "surge", "drop_at", "leakage", "test_current", "max_current"), "A"),
    **dict.fromkeys(("knee_current", "gain_at", "base_emitter_at", "saturation_at", "bias"), "A"),
    **dict.fromkeys(("trigger_amps", "holding_amps", "on_volts_at", "adjust_current"), "A"),
    **dict.fromkeys(("dropout_at", "short_amps", "quiescent", "output_amps"), "A"),
    **dict.fromkeys(("series", "impedance", "knee_impedance", "output_ohms", "cold_ohms"), "ohm"),
    **dict.fromkeys(("output", "coil", "emitter_ohms"), "ohm"),
    "gain_knee": "A",
    **dict.fromkeys(("heater_volts", "heater_cathode", "strike", "strike_typical"), "V"),
    "plate_volts": "V",
    **dict.fromkeys(("reference", "reference_low", "reference_high", "sense"), "V"),
    **dict.fromkeys(("input_min", "output_low", "output_high", "arc"), "V"),
    **dict.fromkeys(("quiescent_most", "anode_peak"), "A"),
    **dict.fromkeys(("heater_amps", "cathode_amps", "min_current"), "A"),
    **dict.fromkeys(("mu", "ex", "kg1", "kg2", "kp", "kvb", "emission", "plates"), "1"),
    "max_capacitance": "F",
    "warmup": "s",
    **dict.fromkeys(("theta_ja", "theta_jc", "sink"), "K/W"),
    **dict.fromkeys(("gain", "gain_typical", "reverse_gain", "cold_ratio", "i2t"), "1"),
    "power": "W",
    "capacitance": "F",
    "transition": "Hz",
    **dict.fromkeys(("recovery", "storage"), "s"),
    "storage_at": "A",
    "junction_max": "degC",
    "tolerance": "%",
}
# Fields that hold words or a yes or no.
WORD_FIELDS = frozenset(
    {
        "package",
        "pinout",
        "made_of",
        "standard",
        "speed",
        "adjustable",
        "rest",
        "output",
        "strapped",
        "does",
        "family",
        "supplies",
    }
)
# What a row of each kind must say to be worth having.
REQUIRED: Mapping[str, tuple[str, ...]] = {
    **dict.fromkeys(("diode", "rectifier", "bridge"), ("volts", "amps", "drop", "drop_at")),
    "zener": ("value", "power", "test_current", "impedance"),
    **dict.fromkeys(
        ("npn", "pnp"), ("volts", "amps", "power", "gain", "base_emitter", "base_emitter_at")
    ),
    "scr": ("volts", "amps", "trigger_volts", "trigger_amps", "holding_amps", "on_volts"),
    "regulator": ("value", "dropout", "amps", "quiescent", "input_max", "pinout"),
    **dict.fromkeys(("opamp", "comparator"), ("gain", "offset", "bias", "quiescent")),
    "fuse": ("amps", "speed"),
    "lamp": ("volts", "amps"),
    "triode": ("mu", "ex", "kg1", "kp", "kvb", "heater_volts", "heater_amps"),
    "pentode": ("mu", "ex", "kg1", "kg2", "kp", "kvb", "heater_volts", "heater_amps"),
    "tube-rectifier": ("drop", "drop_at", "amps", "heater_volts", "heater_amps"),
    "gas-tube": ("value", "test_current", "impedance", "strike", "min_current", "max_current"),
    "selenium": ("plates", "amps", "drop"),
    "chip": ("does", "family", "supplies", "package", "pinout"),
    "triac": ("volts", "amps", "trigger_volts", "trigger_amps", "on_volts", "pinout"),
    "control": ("does", "reference", "input_max", "quiescent", "package", "pinout"),
    "thyratron": ("volts", "amps", "arc", "heater_volts", "heater_amps", "pinout"),
}
