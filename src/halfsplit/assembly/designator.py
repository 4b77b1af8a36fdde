"""What a reference designator tells: a likely kind, the one after it, nets easily mistaken.

Letters as IEC 60617 drawings and IEEE 315 / ASME Y14.44 have them (R, C, L, D or CR, Q, T, F, K, S,
J, P); others (TR, VR, RV, ZD, BR, SCR) are common practice, no published source.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterable

# Kinds a letter may stand for, the usual one first; the words of the line decide between them.
KINDS: dict[str, tuple[str, ...]] = {
    "R": ("resistor", "potentiometer"),
    "RV": ("potentiometer", "resistor"),
    "VR": ("potentiometer", "zener", "regulator"),
    "RP": ("potentiometer",),
    "POT": ("potentiometer",),
    "C": ("electrolytic", "film-capacitor", "ceramic-capacitor"),
    "L": ("inductor",),
    "D": ("diode",),
    "CR": ("diode",),
    "ZD": ("zener",),
    "Z": ("zener",),
    "BR": ("bridge",),
    "SCR": ("scr",),
    "F": ("fuse",),
    "S": ("switch",),
    "SW": ("switch",),
    "T": ("transformer",),
    "TR": ("transformer",),
    "K": ("relay",),
    "RL": ("relay",),
    "DS": ("lamp",),
    "LP": ("lamp",),
    "LA": ("lamp",),
    "M": ("meter",),
    "W": ("wire",),
    "P": ("connector",),
    "PL": ("connector",),
    "J": ("connector",),
    "SK": ("connector",),
}
# What to say where a letter alone does not settle it.
ASK: dict[str, str] = {
    "Q": "npn or pnp, or its type, such as 2N3055",
    "U": "its type, such as 7805, or opamp, comparator or regulator",
    "IC": "its type, such as 7805, or opamp, comparator or regulator",
    "V": "its type, such as ECC83, or triode, pentode or tube-rectifier",
    "PS": "supply",
    "BT": "supply",
}
_LOOKS = str.maketrans({"O": "0", "I": "1", "L": "1"})
_PARTS = re.compile(r"(.*?)(\d+)([A-Za-z]?)")
# From here on a capacitor is likely an electrolytic, below that a film one, below that ceramic.
# Common practice, no published source.
ELECTROLYTIC, FILM = 1e-6, 10e-9  # F


def letters(ref: str) -> str:
    """The letters a reference begins with, in capitals."""
    found = re.match(r"[A-Za-z]+", ref)
    return found[0].upper() if found else ""


def after(ref: str, taken: Container[str]) -> str:
    """The reference that likely follows: R12 after R11, C4B after C4A; "" where none does."""
    found = _PARTS.fullmatch(ref)
    if found is None:
        return ""
    head, digits, tail = found.groups()
    for step in range(1, 1000):
        if tail:
            letter = chr(ord(tail) + step)
            if not letter.isalpha():
                return ""
            made = f"{head}{digits}{letter}"
        else:
            made = f"{head}{int(digits) + step:0{len(digits)}d}"
        if made not in taken:
            return made
    return ""


def alike(net: str, known: Iterable[str]) -> list[str]:
    """Nets that a reader may take for this one: the same but for case, marks, or O for 0."""
    folded = _folded(net)
    return [other for other in known if other != net and _folded(other) == folded]


def _folded(net: str) -> str:
    return re.sub(r"[^0-9A-Za-z+]|(?<=[0-9A-Za-z])\+", "", net).upper().translate(_LOOKS)


def close(net: str, known: Iterable[str]) -> list[str]:
    """Nets one slip away: a character left out, put in, or two changed round (P5 for P15).

    One character for another is how nets are numbered, so that is not told. Few nets of one letter
    would be close to nearly all, so those are left out too.
    """
    return [k for k in known if k != net and len(net) > 1 and len(k) > 1 and _slip(net, k)]


def _slip(first: str, second: str) -> bool:
    a, b = first.lower(), second.lower()
    if len(a) == len(b):
        pairs = [(x, y) for x, y in zip(a, b, strict=True) if x != y]
        return len(pairs) == 2 and pairs[0] == pairs[1][::-1]
    long, short = (a, b) if len(a) > len(b) else (b, a)
    # One put in at the end is how a net is called that goes on (n1, n1x; vr, vr2).
    return len(long) == len(short) + 1 and any(
        long[:k] + long[k + 1 :] == short for k in range(len(long) - 1)
    )
