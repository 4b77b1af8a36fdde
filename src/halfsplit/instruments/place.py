"""Where a meter is: a VISA resource or a serial device, and how its line is set, as one text."""

from __future__ import annotations

import re
from dataclasses import dataclass

from halfsplit.problems import Problem, ProblemsError

# Resource strings of the VISA library specification VPP-4.3, as far as a meter uses them.
_VISA = re.compile(r"(?:USB|TCPIP|GPIB|ASRL|VXI|PXI|PRLGX)[^:]*::.+", re.I)
_SOCKET = re.compile(r"TCPIP\d*::(?P<host>[^:]+|\[.*\])::(?P<port>\d{1,5})::SOCKET", re.I)
_ASRL = re.compile(r"ASRL(?P<device>/.+|COM\d+)::INSTR", re.I)
_LINE = re.compile(
    r"(?P<baud>\d{2,7})(?:[- ](?P<data>[5-8])(?P<parity>[NEO])(?P<stop>[12]))?", re.I
)


@dataclass(frozen=True, slots=True)
class Place:
    """A place with its line setting; rate, bits, parity and stop bits matter on serial lines only.

    Attributes
    ----------
    name: VISA resource string, or a device such as ``/dev/ttyUSB0`` or ``COM3``.
    baud, data, parity, stop: line setting; parity is N, E or O.
    """

    name: str
    baud: int = 9600
    data: int = 8
    parity: str = "N"
    stop: int = 1

    @property
    def visa(self) -> bool:
        """Whether the name is a VISA resource string."""
        return bool(_VISA.fullmatch(self.name))

    @property
    def socket(self) -> tuple[str, int] | None:
        """Host and port of a raw LAN socket."""
        found = _SOCKET.fullmatch(self.name)
        return (found["host"].strip("[]"), int(found["port"])) if found else None

    @property
    def device(self) -> str:
        """Serial device meant by a VISA serial resource, such as ``ASRL/dev/ttyS0::INSTR``."""
        found = _ASRL.fullmatch(self.name)
        return found["device"] if found else ""


def place(text: str, line: str = "9600-8N1") -> Place:
    """Read ``/dev/ttyUSB0@2400-7N1`` or ``TCPIP::10.0.0.7::5025::SOCKET``.

    `line` is the setting of the meter's data file, used where the text gives none.
    Raises ProblemsError.
    """
    name, sign, given = text.strip().rpartition("@")
    if not sign:
        name, given = given, line
    found = _LINE.fullmatch(given)
    if not name or not found or any(ord(c) < 32 or 0xD800 <= ord(c) < 0xE000 for c in name):
        wrong = f"“{text[:80]}” names no place a meter could be" if not name else (
            f"“{given[:40]}” is no line setting"
        )  # fmt: skip
        sample = "/dev/ttyUSB0@2400-7N1 or TCPIP::10.0.0.7::5025::SOCKET"
        raise ProblemsError([Problem("", 0, 0, "", wrong, sample)])
    return Place(
        name,
        int(found["baud"]),
        int(found["data"] or 8),
        (found["parity"] or "N").upper(),
        int(found["stop"] or 1),
    )
