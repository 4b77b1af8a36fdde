"""Whether the entries of a file of boards name each other rightly."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Protocol

from halfsplit.assembly.advice import near_or_all, shown
from halfsplit.boards.model import Board, Rack, Setting


class Adds(Protocol):
    """What collects problems. `spoilt`: boards and rails there are, but not usable."""

    spoilt: set[str]

    def add(self, where: str, wrong: str, instead: str = "", *, doubt: bool = False) -> None:
        """Record one."""


def agree(rack: Rack, to: Adds) -> None:
    """Add a problem for everything named that does not exist, and for codes and rails amiss."""
    for name, board in rack.boards.items():
        _board(rack, name, board, to)
    for name, rail in rack.rails.items():
        where = f"rails.{name}"
        if rail.on is not None and rail.on not in rack.boards:
            _missing(to, f"{where}.on", "board", rail.on, rack.boards)
        if not rail.limits.low <= rail.volts <= rail.limits.high:
            wrong = f"{rail.volts:g} V lies outside its own limits"
            to.add(f"{where}.limits", wrong, "limits around the nominal voltage, signs included")
    for name, lock in rack.interlocks.items():
        for key, rail_name in (("rail", lock.rail), ("needs", lock.needs)):
            if rail_name not in rack.rails:
                _missing(to, f"interlocks.{name}.{key}", "rail", rail_name, rack.rails)
    settings = rack.settings()
    for name, rule in rack.rules.items():
        where = f"rules.{name}"
        if (rule.exactly is None) == (not rule.then):
            sample = "exactly: 1, among: {CP1.clock: own}, or when: {…}, then: {…}"
            to.add(where, "a rule either counts or says what follows from what", sample)
        for key, pairs in (("among", rule.among), ("when", rule.when), ("then", rule.then)):
            _pairs(to, f"{where}.{key}", pairs, settings)
    shown_by: dict[str, str] = {}
    for name, code in rack.codes.items():
        sign = " ".join((code.says or code.lamps or "").split())
        if sign in shown_by:
            wrong = f"“{sign}” already stands for {shown_by[sign]}"
            to.add(f"codes.{name}", wrong, "a code of its own, or one entry with both meanings")
        elif sign:
            shown_by[sign] = name
        if (code.says is None) == (code.lamps is None):
            to.add(f"codes.{name}", "a code is a message or a row of lamps", "says: … or lamps: …")
        if (code.start is None) != (code.words is None):
            to.add(
                f"codes.{name}", "memory that does not answer needs start and words", "words: 1K"
            )
        for look in code.look:
            if look not in settings and look not in rack.boards:
                _missing(
                    to, f"codes.{name}.look", "board or setting", look, [*settings, *rack.boards]
                )
    _pairs(to, "wanted", rack.wanted, settings)


def _missing(to: Adds, where: str, what: str, name: str, known: Iterable[str]) -> None:
    if name.partition(".")[0] in to.spoilt:
        return  # it is there, and what is wrong with it has been said
    names = list(known)
    advice = near_or_all(name, names) if names else f"a {what} the file has; it has none"
    to.add(where, f"there is no {what} {shown(name)}", advice)


def _pairs(to: Adds, where: str, pairs: Mapping[str, str], known: Mapping[str, Setting]) -> None:
    """Each BOARD.setting must exist, and have the choice named."""
    for name, choice in pairs.items():
        if name not in known:
            _missing(to, f"{where}.{name}", "setting", name, known)
        elif (choices := _choices(known[name])) and choice not in choices:
            to.add(
                f"{where}.{name}",
                f"{name} has no choice {shown(choice)}",
                near_or_all(choice, choices),
            )


def _choices(setting: Setting) -> list[str]:
    try:
        return list(setting.table())
    except ValueError:
        return []


def _board(rack: Rack, name: str, board: Board, to: Adds) -> None:
    where = f"boards.{name}"
    for rail in board.rails:
        if rail not in rack.rails:
            _missing(to, f"{where}.rails.{rail}", "rail", rail, rack.rails)
    for other in board.after:
        if other not in rack.boards:
            _missing(to, f"{where}.after", "board", other, rack.boards)
    if _loops(rack, name):
        to.add(f"{where}.after", "boards wait for each other in a ring", "after: without the ring")
    used: dict[str, str] = {}
    for key, setting in board.settings.items():
        at = f"{where}.settings.{key}"
        for strap in setting.of:
            if strap in used:
                to.add(f"{at}.of", f"{strap} already belongs to {used[strap]}", "each strap once")
            used[strap] = key
        try:
            choices = list(setting.table())
        except ValueError as error:
            to.add(at, str(error))
            continue
        if not choices:
            to.add(f"{at}.choices", "the setting has no choice", "{yes: in, no: out}")
            continue
        for choice in [*([setting.usual] if setting.usual else []), *setting.fitted]:
            if choice not in choices:
                to.add(at, f"there is no choice {shown(choice)}", near_or_all(choice, choices))
        placed = list(setting.table().values())
        if len(set(placed)) < len(placed):
            to.add(at, "two choices have the same positions", "each choice its own", doubt=True)
    local = {k: s for k, s in board.settings.items() if _choices(s)}
    for at, named, pairs in _named(board):
        if named is not None and named not in board.settings:
            _missing(to, f"{where}.{at}", "setting", named, board.settings)
        elif named in local:
            for choice in pairs:
                if choice not in _choices(local[named]):
                    to.add(
                        f"{where}.{at}",
                        f"{named} has no choice {shown(choice)}",
                        near_or_all(choice, _choices(local[named])),
                    )
    for key, window in board.windows.items():
        at = f"{where}.windows.{key}"
        if (window.start is None) == (window.setting is None):
            to.add(
                at,
                "a window starts at an address or by a setting",
                "start: 0x0, or setting: start and step: 8K",
            )
        elif window.setting is not None and window.step is None:
            to.add(at, "how many words one step of the setting moves is missing", "step: 8K")
        elif window.setting in local and not all(
            c.isdigit() for c in _choices(local[window.setting])
        ):
            to.add(
                at, f"the choices of {window.setting} are no numbers", "choices that count 0, 1, 2"
            )
    for key, space in board.spaces.items():
        if (space.bits is None) == (space.setting is None):
            to.add(
                f"{where}.spaces.{key}",
                "a space has bits, or a setting with choices",
                "bits: 16, or setting: map and choices: {15-bit: 15}",
            )
    if board.memory is not None:
        _memory(rack, where, board, to)


def _named(board: Board) -> Iterator[tuple[str, str | None, list[str]]]:
    """Place, setting named, choices named."""
    for key, window in board.windows.items():
        yield f"windows.{key}.setting", window.setting, []
        for setting, choice in window.when.items():
            yield f"windows.{key}.when", setting, [choice]
    for key, space in board.spaces.items():
        yield f"spaces.{key}.setting", space.setting, list(space.choices)
    if board.memory is not None:
        yield "memory.swap", board.memory.swap, [board.memory.swapped] if board.memory.swap else []


def _memory(rack: Rack, where: str, board: Board, to: Adds) -> None:
    memory = board.memory
    assert memory is not None
    amiss = memory.amiss()
    for wrong, instead in amiss:
        to.add(f"{where}.memory", wrong, instead)
    for rail in memory.rails:
        if rail not in rack.rails:
            _missing(to, f"{where}.memory.rails", "rail", rail, rack.rails)
    if memory.words != 1 << memory.bank_from:
        to.add(
            f"{where}.memory.bank_bit",
            f"bit {memory.bank_from} splits banks of {1 << memory.bank_from} words, and a bank has "
            f"{memory.words}",
            "the address bit just above a bank",
            doubt=True,
        )
    lines = [k for each in memory.lines.drivers.values() for k in each]
    bits = [b for each in memory.buffers.values() for b in each]
    if any(k >= memory.lines.count for k in lines):
        to.add(
            f"{where}.memory.lines", f"lines go from 0 to {memory.lines.count - 1}", "these only"
        )
    if any(b >= memory.data + memory.parity for b in bits):
        to.add(
            f"{where}.memory.buffers",
            f"bits go from 0 to {memory.data + memory.parity - 1}",
            "these only",
        )
    if len(set(lines)) < len(lines) or len(set(bits)) < len(bits):
        to.add(f"{where}.memory", "a line or bit has two drivers or buffers", "each once")
    if amiss:
        return
    positions = [
        memory.chip(n, b) for n in range(memory.banks) for b in range(memory.data + memory.parity)
    ]
    if len(set(positions)) < len(positions):
        to.add(
            f"{where}.memory", "two bits share a chip position", "a rule that gives each its own"
        )


def _loops(rack: Rack, name: str) -> bool:
    """Whether a board waits, through others, for itself."""
    seen: set[str] = set()
    queue = list(rack.boards[name].after)
    while queue:
        one = queue.pop()
        if one == name:
            return True
        if one not in seen and one in rack.boards:
            seen.add(one)
            queue += rack.boards[one].after
    return False
