"""What each signalling standard promises at its pins, with where the number comes from.

Mark is the idle state. Voltages are against the signal common of the same end, save for TIA-422
whose levels are the + pin against the - pin.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Name = Literal["TIA-232", "TIA-423", "TIA-422", "TTL", "loop"]
Circuit = Literal[
    "FG", "TD", "RD", "RTS", "CTS", "DSR", "SG", "DCD", "DTR", "RI", "TD+", "TD-", "RD+", "RD-"
]  # fmt: skip


@dataclass(frozen=True)
class Standard:
    """Worst-case levels of one standard [V].

    Attributes
    ----------
    mark, space: span of a driver's loaded output in each state.
    peak: largest size of the output with nothing connected.
    mark_at, space_at: the receiver level at which each state is certain.
    withstands: what a receiver of the standard takes unharmed, low and high.
    source: where these come from.
    """

    mark: tuple[float, float]
    space: tuple[float, float]
    peak: float
    mark_at: float
    space_at: float
    withstands: tuple[float, float]
    source: str
    differential: bool = False


STANDARDS: dict[str, Standard] = {
    # Driver 5 to 15 V into 3 to 7 kohm, 25 V open; receiver 3 V, must take 25 V.
    "TIA-232": Standard(
        (-15.0, -5.0), (5.0, 15.0), 25.0, -3.0, 3.0, (-25.0, 25.0), "TIA-232-F levels, second-hand"
    ),
    # Driver 4 to 6 V open, 90 % of it into 450 ohm; receiver 200 mV.
    "TIA-423": Standard(
        (-6.0, -3.6),
        (3.6, 6.0),
        6.0,
        -0.2,
        0.2,
        (-10.0, 10.0),
        "TIA-423-B levels, second-hand; what a receiver withstands from memory, unconfirmed",
    ),
    # Driver 2 V or more into 100 ohm, 6 V open; receiver 200 mV; mark: + above -.
    "TIA-422": Standard(
        (2.0, 6.0),
        (-6.0, -2.0),
        6.0,
        0.2,
        -0.2,
        (-10.0, 10.0),
        "TIA-422-B levels, second-hand; what a receiver withstands from memory, unconfirmed",
        differential=True,
    ),
    # Mark is high on logic-level serial lines: common practice, no published source.
    "TTL": Standard(
        (2.4, 5.25),
        (0.0, 0.4),
        5.25,
        2.0,
        0.8,
        (-0.5, 5.5),
        "74-series data sheets, 5 V levels, from memory, unconfirmed",
    ),
}

# Where a bare differential input's other side is held for a logic-level driver: the middle of the
# forbidden zone of 0.8 to 2.0 V.
TTL_MIDDLE = 1.4
# Load of a TIA-232 receiver, the smallest [ohm]; used to tell a stiff driver from a stray voltage.
LOAD_OHMS = 3000.0
# Open-circuit volts of a TIA-232 receiver input: 2 V at most (TIA-232-F).
RECEIVER_OPEN = 2.0

# A 20 mA loop: mark = current. Limits are common practice, no published source.
LOOP_MARK = (16e-3, 30e-3)
LOOP_DROP_LED = 1.4  # V, an opto-coupler's diode
LOOP_DROP_SWITCH = 0.3  # V, a saturated transistor

# Direction of each circuit at the terminal end (DTE): TIA-232-F, circuits; DCE is the other way.
DTE_OUT = {"TD", "RTS", "DTR", "TD+", "TD-"}
DTE_IN = {"RD", "CTS", "DSR", "DCD", "RI", "RD+", "RD-"}
# Pin of each circuit. DB25: TIA-232-F; DE9: TIA-574.
LAYOUTS: dict[str, dict[str, Circuit]] = {
    "DB25": {
        "1": "FG", "2": "TD", "3": "RD", "4": "RTS", "5": "CTS", "6": "DSR", "7": "SG", "8": "DCD",
        "20": "DTR", "22": "RI",
    },
    "DE9": {
        "1": "DCD", "2": "RD", "3": "TD", "4": "DTR", "5": "SG", "6": "DSR", "7": "RTS",
        "8": "CTS", "9": "RI",
    },
}  # fmt: skip
