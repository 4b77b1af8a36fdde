"""What a machine's own prints and lamps mean, from the table in its file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Self

from pydantic import BeforeValidator, Field, PrivateAttr, model_validator

from halfsplit.assembly.advice import WrongRecord
from halfsplit.assembly.model import Entry

_FIELD = re.compile(r"\{(\w+)\}")
_XOR = re.compile(r"\{(\w+)\^(\w+)\}")


class Message(Entry):
    """One line a machine prints: its pattern with ``{fields}``, what it means, what to do.

    A field matches one word without spaces. ``{w^r}`` in the meaning is the exclusive-or of two
    hexadecimal fields, printed as long as they are.
    """

    says: str = Field(min_length=1, examples=['"E4 SIZE {size}"'])
    means: str = Field(min_length=1, examples=["no memory where it must begin"])
    look: str | None = Field(default=None, description="what to look at next")
    base: int = Field(default=16, description="number base of fields that are combined")
    _pattern: re.Pattern[str] = PrivateAttr()
    _first: str = PrivateAttr(default="")  # literal text to look for before the pattern is tried

    @model_validator(mode="after")
    def _compiles(self) -> Self:
        names = _FIELD.findall(self.says)
        if len(set(names)) != len(names):
            raise WrongRecord("a field stands twice in `says`", "{a} and {b}")
        if "}{" in self.says:
            wrong = "two fields of `says` touch, and nothing tells where one ends"
            raise WrongRecord(wrong, self.says.replace("}{", "} {"))
        used = _FIELD.findall(self.means) + [n for two in _XOR.findall(self.means) for n in two]
        unknown = sorted(set(used) - set(names))
        if unknown:
            wrong = f"`means` uses {', '.join(unknown)}, which `says` does not have"
            known = " or ".join(f"{{{n}}}" for n in names) or "no field in braces"
            raise WrongRecord(wrong, known)
        parts = _FIELD.split(self.says)
        text = "".join(
            f"(?P<{p}>\\S+?)" if k % 2 else r"\s+".join(map(re.escape, re.split(r"\s+", p)))
            for k, p in enumerate(parts)
        )
        self._first = next((w for p in parts[::2] for w in p.split()), "")
        self._pattern = re.compile(text + r"(?!\S)")
        return self

    def explain(self, line: str) -> str | None:
        """The meaning of a printed line, or None when it is another message."""
        if self._first not in line:
            return None
        found = self._pattern.search(line)
        if found is None or (found.start() and not line[found.start() - 1].isspace()):
            return None
        fields = found.groupdict()

        def xor(match: re.Match[str]) -> str:
            a, b = fields[match[1]], fields[match[2]]
            try:
                value = int(a, self.base) ^ int(b, self.base)
            except ValueError:
                return "?"
            digits = {8: "o", 10: "d"}.get(self.base, "X")
            return f"{value:0{max(len(a), len(b))}{digits}}"

        text = _FIELD.sub(lambda m: fields[m[1]], _XOR.sub(xor, self.means))
        return f"{text}. {self.look}" if self.look else text


def _codes(value: object) -> object:
    return {str(k): v for k, v in value.items()} if isinstance(value, Mapping) else value


class Lamps(Entry):
    """A row of lamps: their order, and what each pattern of 0 and 1 means."""

    order: str = Field(default="", examples=["D4 D3 D2 D1"])
    codes: Annotated[dict[str, str], BeforeValidator(_codes)] = Field(
        min_length=1, examples=['{"0100": low memory missing}']
    )

    @model_validator(mode="after")
    def _alike(self) -> Self:
        wide = {len(c) for c in self.codes}
        if len(wide) > 1 or any(set(c) - {"0", "1"} for c in self.codes):
            raise WrongRecord("lamp codes are 0s and 1s in quotes, all as long", '"0100": …')
        if self.order and len(self.order.split()) not in wide:
            raise WrongRecord(
                "`order` names another number of lamps than the codes have",
                "a name for each 0 or 1 of a code, such as D4 D3 D2 D1",
            )
        return self


def explain(messages: Mapping[str, Message], line: str) -> list[tuple[str, str]]:
    """(name, meaning) of every message of the table that the line is; most are none or one."""
    found = ((name, m.explain(line)) for name, m in messages.items())
    return [(name, words) for name, words in found if words is not None]
