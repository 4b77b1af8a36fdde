"""What turned the text into garbage: every cause is simulated, and weighed by what appeared.

A cause is a line as it would behave: the sender's frames, laid out in time, taken by a receiver
with another rate, format or polarity; or an input that follows nothing. What was typed goes through
it and what comes out is compared. With nothing typed, each cause is asked instead which plain text
could have come out so.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import exp, log
from typing import Any

from halfsplit.boards.framing import Format, edges_of, receive
from halfsplit.problems import HalfsplitError

# Chance of one character lost or hit by something else, whatever the cause.
_SLIP = 0.02
# A random byte, one in 256 [nat].
_RANDOM = log(256.0)
# A weak level flips about one bit in ten: common practice, no published source.
_FLIP = 0.1
_RATIOS = (1 / 16, 1 / 8, 1 / 4, 1 / 3, 1 / 2, 2 / 3, 3 / 4, 4 / 3, 3 / 2, 2, 3, 4, 8, 16)
_FORMATS = (
    "8N1", "8E1", "8O1", "8N2", "7E1", "7O1", "7N1", "7N2", "7E2", "7O2"
)  # fmt: skip
_GAP = 12.0  # bit of idle between typed characters: a hand is slower than any line


@dataclass(frozen=True)
class Cause:
    """One explanation.

    kind: none, rate, parity, bits, inverted, wrong-side, floating, noise, echo or stuck.
    what: in words; look: what to do; prior: weight before anything is seen.
    sender, receiver: their formats; bit: the receiver's bit in bits of the sender; drops: words of
    wrong parity are not shown; ones, zeros: data bits that stand still past the line.
    """

    kind: str
    what: str
    look: str
    prior: float
    sender: Format
    receiver: Format
    bit: float = 1.0
    inverted: bool = False
    copies: int = 1
    drops: bool = False
    ones: int = 0
    zeros: int = 0

    @property
    def random(self) -> bool:
        """Whether the same key may give something else each time."""
        return self.kind in ("floating", "noise")


@dataclass(frozen=True)
class Ranked:
    """A cause, others that show the same, their share of belief, what they predict, and the text
    they imply.
    """

    cause: Cause
    share: float
    would_show: str
    meant: str | None = None
    same: tuple[Cause, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            "cause": self.cause.kind,
            "what": self.cause.what,
            "share": self.share,
            "look": self.cause.look,
            "would_show": self.would_show,
            "meant": self.meant,
            "same": [{"cause": c.kind, "what": c.what, "look": c.look} for c in self.same],
        }


def causes(form: Format, typed: bool = False) -> list[Cause]:
    """Every cause considered on a line meant to be `form` at both ends.

    With `typed`, what went in is known, and bits that stand still can be told from other text.
    """
    plain = replace(form, rate=0)

    def cause(kind: str, what: str, look: str, prior: float, **more: Any) -> Cause:
        return Cause(kind, what, look, prior, **({"sender": form, "receiver": form} | more))

    return [
        cause("none", "nothing wrong on the line", "", 1.0),
        cause(
            "floating",
            "the receiver's input floats: the unused side of a differential pair, or a wire, is "
            "open",
            "Tie the unused side of the pair to signal common; find the open wire",
            1.0,
        ),
        cause(
            "noise",
            "a weak level or noise flips single bits",
            "Measure both levels at the receiver; join the signal commons",
            0.7,
        ),
        cause(
            "wrong-side",
            "the signal is on the wrong side of a differential pair",
            "Move the signal to the other side of the pair and tie this one to signal common",
            1.0,
            inverted=True,
        ),
        cause(
            "inverted",
            "the levels are upside down: idle arrives as space",
            "Measure idle at the receiver: a converter inverts, or a strap does",
            0.8,
            inverted=True,
        ),
        cause("echo", "all twice: line and terminal both echo", "Turn one off", 0.5, copies=2),
        *_format_causes(form, plain),
        *_rate_causes(form, cause),
        *(_stuck_causes(form, cause) if typed else ()),
    ]


def _stuck_causes(form: Format, cause: Callable[..., Cause]) -> Iterator[Cause]:
    """One or two data bits always 1, or always 0: nothing a line does, which sends them in turn."""
    bits = range(form.data)
    masks = [(1 << a,) for a in bits] + [(1 << a, 1 << b) for a in bits for b in bits if a < b]
    look = "Scope the data lines at the serial chip and its buffer while one key is held down"
    for mask in masks:
        named = " and ".join(str(m.bit_length() - 1) for m in mask)
        for state in (1, 0):
            what = f"data bit {named} always {state} past the line: serial chip, buffer or socket"
            # The line is at fault far more often; of two bits at once less again. From practice.
            prior = 0.2 / 16 if len(mask) == 1 else 0.05 / 56
            held = {"ones" if state else "zeros": sum(mask)}
            yield cause("stuck", what, look, prior, **held)


def _format_causes(form: Format, plain: Format) -> Iterator[Cause]:
    """Either end set to another format; a receiver shows words of wrong parity, or drops them."""
    look = "Compare the format switches of both ends"
    for text in _FORMATS:
        other = Format(int(text[0]), text[1], float(text[2]))
        if (other.data, other.parity) == (form.data, form.parity):
            continue
        kind = "bits" if other.parity == form.parity else "parity"
        for s, r in ((other, plain), (plain, other)):
            words = f"sender {s}, receiver {r}"
            yield Cause(kind, words, look, 0.3, s, r)
            if r.parity != "N":
                more = f"{words}, which drops words of wrong parity"
                yield Cause(kind, more, look, 0.2, s, r, drops=True)


def _rate_causes(form: Format, cause: Callable[..., Cause]) -> Iterator[Cause]:
    look = "Compare the rate switches of both ends"
    for ratio in _RATIOS:
        said = f"{1 / ratio:.3g}" if ratio < 1 else f"{ratio:.3g}"
        what = f"the receiver is set {said} times {'faster' if ratio < 1 else 'slower'}"
        if form.rate:
            what += f" ({form.rate / ratio:.0f} Bd against {form.rate:g})"
        yield cause("rate", what, look, 0.3 if ratio in (0.5, 2, 0.25, 4) else 0.15, bit=ratio)
    look = "Measure the shortest pulse, or the receiver's clock, with a scope"
    for percent in (-12, -8, -6, 6, 8, 12):
        what = f"the receiver's clock is {abs(percent)} % {'fast' if percent > 0 else 'slow'}"
        yield cause("rate", what, look, 0.1, bit=1 / (1 + percent / 100))


def through(cause: Cause, values: Sequence[int], gap: float = _GAP) -> bytes:
    """What comes out when `values` are sent and the cause is at work.

    `gap` is the idle time after each character [bit]; 0 is a machine printing without pause. Words
    whose stop bit was wrong are shown as they came, which is what most terminals do.
    """
    repeated = [v for v in values for _ in range(cause.copies)]
    edges = edges_of(repeated, cause.sender, gap)
    if cause.inverted:
        edges = [(t, 1 - level) for t, level in edges]
    heard = receive(edges, cause.receiver, cause.bit, 0 if cause.inverted else 1)
    return bytes(
        ((h.value | cause.ones) & ~cause.zeros) & 0xFF
        for h in heard
        if not (cause.drops and h.parity)
    )


def rank(
    typed: str | None,
    appeared: str,
    form: Format | None = None,
    *,
    weigh: dict[str, float] | None = None,
    gap: float | None = None,
) -> list[Ranked]:
    """Causes, likeliest first.

    typed: what was typed or what the machine should have printed, None when not known.
    appeared: what came out, one character per byte (Latin-1).
    form: what both ends are meant to be. weigh: factors on kinds of cause known otherwise, such
    as from the cable. gap: idle between characters [bit].

    Raises HalfsplitError when nothing appeared.
    """
    form = form or Format(8)
    try:
        out = appeared.encode("latin-1")
        sent = None if typed is None else typed.encode("latin-1")
    except UnicodeEncodeError as error:
        raise HalfsplitError(
            f"“{error.object[error.start]}” is no byte of a serial line; write it as \\xNN"
        ) from None
    if not out:
        raise HalfsplitError(
            "nothing appeared, and that is no garbage: look for a handshake that is off, "
            "a loop without a source, a wire on the wrong pin; halfsplit wire finds them on paper"
        )
    pause = _GAP if gap is None else gap
    found: dict[object, list[tuple[Cause, float, str, str | None]]] = {}
    for cause in causes(form, sent is not None):
        prior = cause.prior * (weigh or {}).get(cause.kind, 1.0)
        if sent is not None:
            cost, words, meant = _typed(cause, sent, out, pause)
        else:
            cost, words, meant = _unknown(cause, out)
        alike = cause.kind if cause.random else (words, meant, round(cost, 6))
        found.setdefault(alike, []).append((cause, cost - log(prior), words, meant))
    best = min(c for group in found.values() for _, c, _, _ in group)
    ranked = []
    for group in found.values():
        group.sort(key=lambda item: item[1])
        weight = sum(exp(-min(700.0, c - best)) for _, c, _, _ in group)
        first, _, words, meant = group[0]
        ranked.append(Ranked(first, weight, words, meant, tuple(g[0] for g in group[1:])))
    total = sum(r.share for r in ranked)
    return sorted((replace(r, share=r.share / total) for r in ranked), key=lambda r: -r.share)


def _typed(cause: Cause, sent: bytes, out: bytes, gap: float) -> tuple[float, str, str | None]:
    if cause.kind == "floating":
        return (
            _RANDOM * len(out) + 0.3 * abs(len(out) - len(sent)),
            "something else each time",
            None,
        )
    if cause.kind == "noise":
        cost = _align(sent, out, _flipped)
        return cost, "single bits wrong, now and then", None
    predicted = through(cause, list(sent), gap)
    return _align(predicted, out, _same), printable(predicted), None


def _same(a: int, b: int) -> float:
    return -log(1 - _SLIP) if a == b else -log(_SLIP) + _RANDOM


def _flipped(a: int, b: int) -> float:
    wrong = (a ^ b).bit_count()
    return -wrong * log(_FLIP) - (8 - wrong) * log(1 - _FLIP)


def _align(want: bytes, have: bytes, price: Callable[[int, int], float]) -> float:
    """Least cost of turning one into the other, a character lost or added at a slip's price."""
    miss = -log(_SLIP)
    row = [k * (miss + _RANDOM) for k in range(len(have) + 1)]
    for i, a in enumerate(want, 1):
        last, row = row, [i * miss]
        for k, b in enumerate(have, 1):
            row.append(min(last[k - 1] + price(a, b), last[k] + miss, row[k - 1] + miss + _RANDOM))
    return row[-1]


# Shares of characters in what consoles print and people type there [nat]: letters common in
# English text (from memory, unconfirmed), digits, capitals and punctuation less so, controls rare.
_COMMON = {**dict.fromkeys(" etaoinshrdlu", 3.2), **dict.fromkeys("ETAOINSRLD0123", 3.9)}


def _letter_price(c: int) -> float:
    if chr(c) in _COMMON:
        return _COMMON[chr(c)]
    if c in (10, 13):
        return 4.0
    return 4.9 if chr(c).isalnum() else 5.9


@lru_cache(maxsize=256)
def _table(cause: Cause) -> tuple[tuple[bytes, int], ...]:
    """(what appears, what was meant) for each plain character sent alone."""
    plain = [*range(32, 127), 10, 13]
    pairs = ((through(cause, [c]), c) for c in plain)
    return tuple((out, c) for out, c in pairs if out)


def _unknown(cause: Cause, out: bytes) -> tuple[float, str, str | None]:
    """The likeliest plain text that would have come out so, and its price."""
    if cause.random:
        # Random bytes, or plain text with flips: the text has to be paid for too.
        each = _RANDOM if cause.kind == "floating" else 4.5 + 2.6
        return each * len(out), "something else each time", None
    table: dict[bytes, tuple[float, int]] = {}
    for text, c in _table(cause):
        price = _letter_price(c)
        if text not in table or price < table[text][0]:
            table[text] = (price, c)
    longest = max((len(t) for t in table), default=1)
    best: list[tuple[float, int, int | None]] = [(0.0, 0, None)]
    for end in range(1, len(out) + 1):
        choice: tuple[float, int, int | None] = (
            best[end - 1][0] - log(_SLIP) + _RANDOM, end - 1, None
        )  # fmt: skip
        for n in range(1, min(longest, end) + 1):
            hit = table.get(out[end - n : end])
            if hit and best[end - n][0] + hit[0] < choice[0]:
                choice = (best[end - n][0] + hit[0], end - n, hit[1])
        best.append(choice)
    meant = "".join(_walk(best))[::-1]
    return best[-1][0], printable(out), meant


def _walk(best: list[tuple[float, int, int | None]]) -> Iterator[str]:
    at = len(best) - 1
    while at > 0:
        _, before, c = best[at]
        yield "·" if c is None else chr(c)
        at = before


def printable(data: bytes) -> str:
    """Bytes as text with everything unprintable as ``\\xNN``."""
    names = {10: "\\n", 13: "\\r", 9: "\\t", 92: "\\\\"}
    return "".join(names.get(b) or (chr(b) if 32 <= b < 127 else f"\\x{b:02x}") for b in data)


def unescaped(text: str) -> str:
    """Text typed on a command line with ``\\xNN``, ``\\n``, ``\\r``, ``\\t`` and ``\\\\`` read."""
    found, k = "", 0
    names = {"n": "\n", "r": "\r", "t": "\t", "\\": "\\", "0": "\0"}
    while k < len(text):
        if text[k] == "\\" and k + 1 < len(text):
            word = text[k + 2 : k + 4]
            if (
                text[k + 1] == "x"
                and len(word) == 2
                and all(d in "0123456789abcdefABCDEF" for d in word)
            ):
                found += chr(int(word, 16))
                k += 4
                continue
            if text[k + 1] in names:
                found += names[text[k + 1]]
                k += 2
                continue
        found += text[k]
        k += 1
    return found


def malformed(text: str) -> str:
    """The first backslash in `text` that begins nothing :func:`unescaped` reads; "" without one."""
    found = re.search(r"(?:[^\\]|\\[nrt0\\]|\\x[0-9a-fA-F]{2})*(\\.{0,3})?", text, re.DOTALL)
    return (found[1] or "") if found else ""
