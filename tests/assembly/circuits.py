"""Small random circuits as they would be typed: references, words, nets."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import strategies as st

NETS = ("raw", "p5", "n12", "b1", "+5", "-12", "=x", "0", "com", "1e3", "Ω")
NOTES = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z"), include_characters=" "), max_size=24
).map(str.strip)
VALUES = {
    "resistor": ("4k7", "R56", "100", "2.2M", "1k 1%", "330R 0.25W"),
    "electrolytic": ("100u", "47u 16V", "2200u 25V esr=20mohm"),
    "film-capacitor": ("100n", "4n7 63V"),
    "inductor": ("10m", "470u"),
    "zener": ("6.2V", "5.6V 400mW"),
    "diode": ("100V 1A", ""),
    "npn": ("60V 10A", ""),
    "fuse": ("2A", "500mA T"),
}
TYPES = ("2N3055", "1N4004", "7805", "LM358", "ECC83")
ENDS = {"npn": 3, "2N3055": 3, "7805": 3, "LM358": 5, "ECC83": 3}


@dataclass(frozen=True)
class Typed:
    """A line as somebody would type it."""

    name: str
    words: str
    ends: tuple[str, ...]


@st.composite
def typed_parts(draw: st.DrawFn) -> list[Typed]:
    """One to six parts on a few nets, with notes of any printable text."""
    found = []
    for number in range(draw(st.integers(1, 6))):
        kind = draw(st.sampled_from([*VALUES, *TYPES]))
        value = draw(st.sampled_from(VALUES.get(kind, ("",))))
        nets = draw(st.lists(st.sampled_from(NETS), min_size=5, max_size=5, unique=True))
        note = draw(NOTES)
        escaped = note.replace("\\", "\\\\").replace('"', '\\"')
        words = f"{kind} {value}".strip() + (f' note="{escaped}"' if note else "")
        ends = tuple(nets[: ENDS.get(kind, 2)])
        found.append(Typed(f"X{number}", words, ends))
    return found
