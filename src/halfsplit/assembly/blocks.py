"""Functional blocks of a file: what each makes, needs and follows, until opened into parts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from halfsplit.assembly.advice import WrongRecord, near
from halfsplit.assembly.model import Entry, Feed, Rail
from halfsplit.parts.base import Amps, Net, VoltRange, Volts
from halfsplit.parts.block import FAILS, BlockPart

if TYPE_CHECKING:
    from ruamel.yaml.comments import CommentedMap

    from halfsplit.assembly.file import Reader
    from halfsplit.assembly.patterns import Expanded

Fails = Literal["dead", "low", "high", "noisy"]
# A noisy block ripples this much: a share of its volts, or of what its rail may ripple.
SPARE = 2.0  # times its rating a block gives at most; common practice, no published source
NOISE, TIMES = 0.05, 4.0  # common practice, no published source


def _several(value: object) -> object:
    return [value] if isinstance(value, str) else value


Nets = Annotated[list[Net], BeforeValidator(_several)]
Refs = Annotated[list[str], BeforeValidator(_several)]


class Block(Entry):
    """A part of the machine by what it does."""

    makes: Net = Field(description="net it holds at its volts")
    limits: VoltRange = Field(description="what the net may be")
    volts: Volts | None = Field(default=None, description="what it is if not the middle of them")
    ripple: Volts | None = Field(default=None, gt=0, description="largest peak-to-peak ripple")
    rated: Amps | None = Field(default=None, gt=0)
    needs: Nets = Field(default_factory=list, description="nets without which it makes nothing")
    follows: Net | None = Field(default=None, description="net it is in proportion to")
    fails: dict[Fails, Annotated[float, Field(ge=0)]] = Field(
        default_factory=dict, description="how often it fails how, such as {dead: 5, noisy: 1}"
    )
    parts: Refs = Field(
        default_factory=list, description="parts, or uses of patterns, it has been opened into"
    )
    note: str | None = None

    @model_validator(mode="after")
    def _sensible(self) -> Block:
        if self.nominal() == 0.0:
            raise WrongRecord("a block that makes 0 V makes nothing", "volts: 5V, or other limits")
        if self.makes in self.needs or self.makes == self.follows:
            raise WrongRecord(f"it needs what it makes, `{self.makes}`", "what it is made from")
        if self.fails and not any(self.fails.values()):
            raise WrongRecord("it never fails in any way", "fails: {dead: 5, low: 2}")
        return self

    def nominal(self) -> float:
        """Volts it makes when all is well."""
        return self.volts if self.volts is not None else (self.limits.low + self.limits.high) / 2.0

    def leans(self) -> list[str]:
        """Nets it needs or follows."""
        return list(dict.fromkeys([*self.needs, *([self.follows] if self.follows else [])]))


@dataclass
class Blocks:
    """What the blocks of a file add to it: parts for those not opened, rails, how it is fed."""

    records: dict[str, Block] = field(default_factory=dict)
    parts: dict[str, BlockPart] = field(default_factory=dict)
    rails: dict[str, Rail] = field(default_factory=dict)

    def feeds(self, inlet: bool) -> dict[str, Feed]:
        """Feeds of a file that names none.

        With an inlet among the parts, readings kept from when the source was a block still count:
        `supply`, as the feed was called then, is the mains now.
        """
        if inlet:
            note = "as `mains`: its name from before the inlet was typed"
            return {"mains": Feed(mains=True), "supply": Feed(mains=True, note=note)}
        return {"supply": Feed()}


def read_blocks(
    reader: Reader,
    document: CommentedMap,
    common: str,
    rails: Mapping[str, Rail],
    refs: Iterable[str],
    uses: Mapping[str, Any],
) -> Blocks:
    """The blocks of a file, every problem with them recorded."""
    found, known = Blocks(), set(refs)
    for name, entry in reader.section(document, "blocks").items():
        where = f"blocks.{name}"
        record = reader.model(Block, entry, where)
        if record is None:
            reader.blind = True
            continue
        if name in known:
            reader.add(where, f"`{name}` is a part as well", "another name for the block")
        elif any(c in " \t:,{}[]#." for c in name):
            reader.add(
                where, f"`{name}` is no name for a block: it is one word", "a name such as p5"
            )
        else:
            found.records[name] = record
        for ref in record.parts:
            if ref not in known and ref not in uses:
                wrong = f"there is no part or use of a pattern `{ref}`"
                advice = near(ref, [*known, *uses]) or "those that stand under `parts`"
                reader.add(f"{where}.parts", wrong, advice)
    makers: dict[str, str] = {}
    for name, block in found.records.items():
        other = makers.setdefault(block.makes, name)
        if other != name:
            wrong = f"`{block.makes}` is made by {other} already"
            reader.add(f"blocks.{name}.makes", wrong, "a net of its own")
    _ring(reader, found.records, makers)
    have = {b.makes: b.nominal() for b in found.records.values()}
    for rail in rails.values():
        have.setdefault(rail.net, (rail.limits.low + rail.limits.high) / 2.0)
    covered = {r.net for r in rails.values()}
    for name, block in found.records.items():
        short = [n for n in block.leans() if have.get(n, 0.0) == 0.0]
        for net in short:
            wrong = f"nothing says how many volts `{net}` has"
            advice = near(net, have) or "a block that makes it, or a rail with its limits"
            key = "follows" if net == block.follows else "needs"
            reader.add(f"blocks.{name}.{key}", wrong, advice)
        if block.makes not in covered and makers[block.makes] == name:
            found.rails[block.makes] = Rail(
                net=block.makes, limits=block.limits, ripple=block.ripple, rated=block.rated
            )
        if not block.parts and not short:
            found.parts[name] = _part(name, block, have, common)
    return found


def groups(blocks: Blocks, placed: Expanded) -> dict[str, tuple[str, ...]]:
    """Parts of every block that was opened, and of every use of a pattern."""
    uses = {name: tuple(p.ref for p in found) for name, found in placed.uses.items()}
    opened = {
        name: tuple(r for one in block.parts for r in uses.get(one, (one,)))
        for name, block in blocks.records.items()
        if block.parts
    }
    return {**uses, **opened}


def _part(name: str, block: Block, have: Mapping[str, float], common: str) -> BlockPart:
    volts = block.nominal()
    noise = max(TIMES * (block.ripple or 0.0), NOISE * abs(volts))
    wide = (block.limits.high - block.limits.low) / 2.0 / 3.0**0.5
    return BlockPart(
        ref=name,
        makes=block.makes,
        com=common,
        volts=volts,
        sigma=max(wide, 0.002 * abs(volts)),
        noise=noise,
        limit=SPARE * block.rated if block.rated else 10.0,
        needs={n: have[n] for n in block.leans()},
        follows=block.follows or "",
        fails={str(k): v for k, v in block.fails.items()} or FAILS,
        note=block.note,
    )


def _ring(reader: Reader, records: Mapping[str, Block], makers: Mapping[str, str]) -> None:
    """Blocks that need one another in a ring could never start."""
    done: set[str] = set()

    def walk(name: str, way: list[str]) -> None:
        if name in way:
            ring = " → ".join([*way[way.index(name) :], name])
            wrong = f"these need one another in a ring: {ring}"
            reader.add(f"blocks.{name}.needs", wrong, "only what it cannot start without")
        elif name not in done:
            for net in records[name].leans():
                if net in makers:
                    walk(makers[net], [*way, name])
            done.add(name)

    for name in records:
        walk(name, [])
