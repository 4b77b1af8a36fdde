"""Rate and format of a board from its crystal, divisors and switch, and back again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from halfsplit.assembly.advice import WrongRecord
from halfsplit.assembly.model import Entry
from halfsplit.boards.framing import Format, nearest_rate, parse_format
from halfsplit.parts.base import Hertz
from halfsplit.problems import Problem, ProblemsError


def _at(value: object) -> object:
    """Positions ``1-4``, ``5`` or ``5,6`` as a tuple of numbers."""
    if isinstance(value, tuple):
        return value
    found: list[int] = []
    for part in str(value).split(","):
        first, _, last = part.strip().partition("-")
        if not first.isdecimal() or not (last or first).isdecimal():
            raise WrongRecord(
                f"“{value}” is no switch position", "a number from 1, such as 5 or 1-4"
            )
        found += range(int(first), int(last or first) + 1)
    if not found or min(found) < 1:
        raise WrongRecord(f"“{value}” is no switch position", "5 or 1-4, counted from 1")
    return tuple(found)


Positions = Annotated[
    tuple[int, ...],
    BeforeValidator(_at),
    WithJsonSchema({"type": ["string", "integer"], "description": "1-4, 5 or 5,6"}),
]


def _words(value: object) -> object:
    if not isinstance(value, Mapping):
        return value
    return {str(k): (str(v).lower() if isinstance(v, bool) else str(v)) for k, v in value.items()}


Codes = Annotated[
    dict[str, str],
    BeforeValidator(_words),
    WithJsonSchema(
        {
            "type": "object",
            "minProperties": 1,
            "propertyNames": {"pattern": "^[01]+$"},
            "additionalProperties": {"type": ["string", "number", "boolean"]},
        }
    ),
]


class Coded(Entry):
    """Switch positions that set one thing: their pattern -> what it means."""

    at: Positions = Field(examples=['"1-4"'])
    codes: Codes = Field(min_length=1, examples=['{"0": 8, "1": 7}'])

    @model_validator(mode="after")
    def _alike(self) -> Self:
        for code in self.codes:
            if set(code) - {"0", "1"} or len(code) != len(self.at):
                n = len(self.at)
                wrong = f"code “{code}” is not {n} of 0 and 1, one a position"
                raise WrongRecord(wrong, f'"{"01" * n:.{n}}": …, in quotes')
        return self


class LineBoard(Entry):
    """How a board's line is set. Switch position closed (on) is 1."""

    crystal: Hertz = Field(gt=0)
    sampling: int = Field(default=16, ge=1, le=64, description="receiver clocks a bit")
    switch: str = Field(default="", examples=["SW2"])
    rate: Coded = Field(description="pattern -> divisor of crystal / sampling")
    bits: Coded | None = Field(default=None, description="pattern -> data bits")
    parity: Coded | None = Field(default=None, description="pattern -> on or off")
    sense: Coded | None = Field(default=None, description="pattern -> even or odd")
    stop: Coded | None = Field(default=None, description="pattern -> stop bits")
    found: str | None = Field(default=None, description="positions as found")
    wanted: str | None = Field(default=None, examples=["9600 8N1"])
    note: str | None = None

    @model_validator(mode="after")
    def _sensible(self) -> Self:
        wrong, advice = [], []
        for code, divisor in self.rate.codes.items():
            if not divisor.isdecimal() or int(divisor) < 1:
                wrong.append(f"rate “{code}”: {divisor} is no divisor")
                advice.append("a whole number from 1")
        for name, known in (
            ("bits", "5 6 7 8"),
            ("parity", "on off"),
            ("sense", "even odd"),
            ("stop", "1 1.5 2"),
        ):
            field = getattr(self, name)
            for code, word in (field.codes if field else {}).items():
                if word not in known.split():
                    wrong.append(f"{name} “{code}”: {word} is no choice of it")
                    advice.append(f"for {name} {known.replace(' ', ' or ')}")
        if self.wanted:
            try:
                parse_format(self.wanted)
            except Exception as error:
                wrong.append(f"wanted: {error}")
                advice.append("a line such as 9600 8N1")
        if wrong:
            raise WrongRecord("; ".join(wrong), ", ".join(dict.fromkeys(advice)))
        return self

    @property
    def width(self) -> int:
        """Number of positions the switch must have."""
        fields = (self.rate, self.bits, self.parity, self.sense, self.stop)
        return max(max(f.at) for f in fields if f)

    def rate_of(self, divisor: int) -> float:
        """Rate [Bd] of a divisor."""
        return float(self.crystal) / self.sampling / divisor


@dataclass(frozen=True)
class Setting:
    """What switch positions set: format with the true rate, the usual rate it is meant for."""

    form: Format
    nominal: float
    divisor: int

    @property
    def error(self) -> float:
        """True rate over the usual one, less 1."""
        return self.form.rate / self.nominal - 1

    def as_dict(self) -> dict[str, Any]:
        """For ``--json``."""
        return {
            **self.form.as_dict(),
            "nominal": self.nominal,
            "divisor": self.divisor,
            "error": self.error,
            "per_second": self.form.per_second,
        }


def setting(board: LineBoard, positions: str) -> Setting:
    """What the switch sets as it stands, such as ``1110 1100``. Raises ProblemsError."""
    flat = "".join(positions.split())
    if set(flat) - {"0", "1"} or len(flat) < board.width:
        raise _problem(
            positions, f"this is not {board.width} positions of 0 (open) and 1 (closed)",
            "1110" + "0" * max(0, board.width - 4),
        )  # fmt: skip

    def value(field: Coded | None, name: str, default: str) -> str:
        if field is None:
            return default
        code = "".join(flat[p - 1] for p in field.at)
        if code not in field.codes:
            known = ", ".join(field.codes)
            raise _problem(
                positions, f"{name} positions {code} stand for nothing", f"one of {known}"
            )
        return field.codes[code]

    divisor = int(value(board.rate, "rate", "1"))
    parity = "N"
    if value(board.parity, "parity", "off") == "on":
        parity = "E" if value(board.sense, "sense", "even") == "even" else "O"
    rate = board.rate_of(divisor)
    form = Format(
        int(value(board.bits, "bits", "8")), parity, float(value(board.stop, "stop", "1")), rate
    )
    return Setting(form, nearest_rate(rate), divisor)


def positions_for(board: LineBoard, wanted: Format) -> str:
    """Switch positions that set `wanted`; ``x`` where it does not matter. Raises ProblemsError."""
    found = ["x"] * board.width
    wants: list[tuple[Coded | None, str, str]] = [
        (board.bits, "data bits", str(wanted.data)),
        (board.parity, "parity", "off" if wanted.parity == "N" else "on"),
        (board.stop, "stop bits", f"{wanted.stop:g}"),
    ]
    if wanted.parity != "N":
        wants.append((board.sense, "parity", "even" if wanted.parity == "E" else "odd"))
    if wanted.rate:
        best = min(
            board.rate.codes.values(),
            key=lambda d: abs(board.rate_of(int(d)) / wanted.rate - 1),
        )
        # Two rates further apart than this are not the same rate: half of what a frame allows.
        if abs(board.rate_of(int(best)) / wanted.rate - 1) > 0.02:
            rates = ", ".join(
                f"{nearest_rate(board.rate_of(int(d))):g}" for d in board.rate.codes.values()
            )
            raise _problem(str(wanted), f"the board has no rate of {wanted.rate:g} Bd", rates)
        wants.append((board.rate, "rate", best))
    for field, name, word in wants:
        if field is None:
            fixed = {"data bits": "8", "parity": "off", "stop bits": "1"}.get(name)
            if fixed is not None and word != fixed:
                raise _problem(str(wanted), f"{name} cannot be set on this board", fixed)
            continue
        code = next((c for c, w in field.codes.items() if w == word), None)
        if code is None:
            known = ", ".join(field.codes.values())
            raise _problem(str(wanted), f"the board has no {name} {word}", known)
        for place, digit in zip(field.at, code, strict=True):
            found[place - 1] = digit
    return "".join(found)


def differences(found: str, wanted: str) -> list[str]:
    """What to move, in words: one line a position that stands wrong."""
    flat = "".join(found.split())
    words = {"1": "closed (on)", "0": "open (off)"}
    return [
        f"position {k}: {words[b]}, now {words[a]}"
        for k, (a, b) in enumerate(zip(flat, wanted, strict=False), 1)
        if b != "x" and a != b
    ]


def _problem(text: str, wrong: str, instead: str) -> ProblemsError:
    return ProblemsError([Problem("", 0, 0, text, wrong, instead)])
