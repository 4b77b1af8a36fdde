"""What a person does at a rack of boards, put on disk: straps seen and moved, boards in and out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Self

from halfsplit.assembly.file import near
from halfsplit.bench.handed import HANDED
from halfsplit.bench.slots import is_live, slot_value, slot_verdict
from halfsplit.boards.file import load_rack
from halfsplit.boards.model import Board, Rack
from halfsplit.boards.order import Step, Verdict, sequence
from halfsplit.boards.which import misplaced
from halfsplit.journal import Entry, Journal, journal_path
from halfsplit.problems import ExitCode, HalfsplitError, NotFoundError, Problem, ProblemsError
from halfsplit.quantity import show


class NotYetError(HalfsplitError):
    """A step is refused until something is proved; the message says what, and what proves it.

    `reasons`: the refusal and each proof that is missing. A reason given passes it.
    """

    exit_code = ExitCode.PROBLEMS

    def __init__(self, refusal: str, missing: list[str]) -> None:
        told = missing[0] if len(missing) == 1 else "\n  " + ";\n  ".join(missing)
        super().__init__(f'{refusal}: {told}. To go on all the same: --anyway "why"')
        self.reasons = [refusal, *missing]


def open_rack(path: Path) -> tuple[Rack, list[Problem]]:
    """Load a file or raise ProblemsError with everything wrong; doubts are returned."""
    rack, problems = load_rack(path)
    if rack is None:
        if "no such file" in problems[0].wrong:
            raise NotFoundError(f"{path}: {problems[0].wrong}")
        raise ProblemsError(misplaced(path, "boards") or problems)
    return rack, problems


class RackBench:
    """A rack with its journal open. Use as a context manager."""

    def __init__(self, path: Path, journal: Journal | None = None) -> None:
        """With `journal` that one is used, and it stays open when this is closed."""
        self.rack, self.doubts = open_rack(path)
        self._lent = journal is not None
        self.journal = Journal.open(journal_path(path)) if journal is None else journal
        self.steps: list[Step] = sequence(self.rack)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if not self._lent:
            self.journal.close()

    @property
    def entries(self) -> list[Entry]:
        """Journal entries in force."""
        return self.journal.entries()

    def undo(self) -> Entry:
        """Undo the last entry."""
        return self.journal.undo()

    # -- straps ----------------------------------------------------------------------------------

    def record_straps(self, items: list[str], *, moved: bool) -> list[Entry]:
        """Store strap positions such as ``ML32.W1=out``, as seen or, with `moved`, as put now.

        Raises ProblemsError with everything that is no position of this rack; nothing is stored
        then.
        """
        problems: list[Problem] = []
        good = []
        for item in items:
            name, _, position = item.partition("=")
            board, _, strap = name.partition(".")
            found = self._strap(item, board, strap, position)
            if isinstance(found, Problem):
                problems.append(found)
            else:
                good.append(found)
        if problems:
            raise ProblemsError(problems)
        return [self.journal.append("strap", {**body, "moved": moved}) for body in good]

    def _strap(self, item: str, board: str, strap: str, position: str) -> dict[str, str] | Problem:
        where = f"{board}.{strap}" if strap else item
        if board not in self.rack.boards:
            advice = near(board, self.rack.boards) or ", ".join(self.rack.boards)
            return Problem("", 0, 0, where, f"there is no board {board}", advice)
        settings = self.rack.boards[board].settings.values()
        for setting in settings:
            if strap in setting.of:
                if position in setting.words:
                    return {"board": board, "strap": strap, "position": position}
                wrong = f"“{position}” is no position of {strap}"
                return Problem("", 0, 0, where, wrong, " or ".join(setting.words))
        known = [s for setting in settings for s in setting.of]
        advice = near(strap, known) or ", ".join(known)
        return Problem("", 0, 0, where, f"board {board} has no strap {strap}", advice)

    def positions(self, *, found: bool = False) -> dict[tuple[str, str], str]:
        """Position of each strap recorded: now, or with `found` as first seen."""
        result: dict[tuple[str, str], str] = {}
        for entry in self.entries:
            if entry.kind == "strap":
                key = (str(entry.body["board"]), str(entry.body["strap"]))
                if found and (key in result or entry.body["moved"]):
                    continue
                result[key] = str(entry.body["position"])
        return result

    # -- boards in and out -----------------------------------------------------------------------

    def board(self, name: str) -> Board:
        """A board by name. Raises NotFoundError naming the nearest."""
        if name not in self.rack.boards:
            close = near(name, self.rack.boards) or ", ".join(self.rack.boards)
            raise NotFoundError(f"there is no board {name}; did you mean {close}?")
        return self.rack.boards[name]

    def step(self, name: str) -> Step:
        """A board's turn."""
        self.board(name)
        return next(s for s in self.steps if s.board == name)

    def state(self) -> dict[str, Any]:
        """Boards in, in order; rails applied; last reading of each (board, rail, unit)."""
        fitted: list[str] = []
        rails: list[str] = []
        readings: dict[tuple[str, str, str], dict[str, Any]] = {}
        for entry in self.entries:
            body = entry.body
            if entry.kind == "board-in":
                fitted.append(str(body["board"]))
                # What was read at its slot before it came was not read of it.
                readings = {
                    k: v for k, v in readings.items() if k[0] != body["board"] or k[2] == "ohm"
                }
            elif entry.kind == HANDED:  # what was in and proved on another bench
                fitted, rails, readings = [], [], {}
            elif entry.kind == "board-out":
                fitted = [b for b in fitted if b != body["board"]]
                readings = {k: v for k, v in readings.items() if k[0] != body["board"]}
            elif entry.kind == "rail-on":
                rails = [*(r for r in rails if r != body["rail"]), str(body["rail"])]
            elif entry.kind == "rail-off":
                rails = [r for r in rails if r != body["rail"]]
            elif entry.kind == "slot":
                key = (str(body["board"]), str(body["rail"]), str(body["unit"]))
                readings[key] = dict(body)
                rails = self._seen_on(rails, body)
        return {"fitted": fitted, "rails": rails, "readings": readings}

    def _seen_on(self, rails: list[str], body: Mapping[str, Any]) -> list[str]:
        """Rails on after a reading: volts of one that no board makes say whether it is."""
        rail, value = str(body["rail"]), body["value"]
        if body["unit"] != "V" or self.rack.rails[rail].on is not None:
            return rails
        rest = [r for r in rails if r != rail]
        return [*rest, rail] if is_live(float(value), "V") else rest

    def _withheld(self, rail: str) -> bool:
        """Whether the last said of a rail is that it is held off."""
        said = [e for e in self.entries if e.kind in ("rail-on", "rail-off")]
        mine = [e.kind for e in said if e.body["rail"] == rail]
        return mine[-1:] == ["rail-off"]

    def next_board(self) -> Step | None:
        """The board whose turn it is, or None when all are in."""
        fitted = self.state()["fitted"]
        return next((s for s in self.steps if s.board not in fitted), None)

    def record_readings(self, items: list[str]) -> list[dict[str, Any]]:
        """Judge and store readings such as ``ML32.P5=20R``, ``ML32.P5=5.02V``, ``ML32.P5=0.86A``.

        Ohms are dead ohms at the edge of the board, volts are at its slot, amperes are what the
        board added. Raises ProblemsError; nothing is stored then.
        """
        problems: list[Problem] = []
        good: list[dict[str, Any]] = []
        for item in items:
            try:
                good.append(self._reading(item, good))
            except ProblemsError as error:
                problems += error.problems
        if problems:
            raise ProblemsError(problems)
        for body in good:
            self.journal.append("slot", body)
        return good

    def _reading(self, item: str, before: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        name, _, text = item.partition("=")
        board, _, rail = name.partition(".")

        def wrong(what: str, instead: str) -> ProblemsError:
            return ProblemsError([Problem("", 0, 0, item, what, instead)])

        if board not in self.rack.boards:
            raise wrong(
                f"there is no board {board}", near(board, self.rack.boards) or "BOARD.RAIL=5V"
            )
        rails = {r.rail: r for r in self.step(board).rails}
        if rail not in rails:
            raise wrong(f"board {board} has no rail {rail}", " or ".join(rails))
        value, unit = slot_value(text, wrong)
        if unit == "ohm" and value < 0:
            raise wrong(
                "less than nought ohms means a charge or a feed is still there",
                "the reading once every rail is below 0.5 V",
            )
        if unit != "ohm" and board not in self.state()["fitted"]:
            what = "volts" if unit == "V" else "amperes"
            raise wrong(
                f"{what} at the slot of {board}, which is not in as far as is noted",
                f"`--fit {board}` once it is in, then this reading",
            )
        verdict = slot_verdict(rails[rail], value, unit)
        early = self.locked(rail, before) if unit != "ohm" else []
        off = unit != "ohm" and not is_live(value, unit) and (bool(early) or self._withheld(rail))
        if off:
            words = f"it is off, as it must be for now: {'; '.join(early)}"
            if not early:
                words = f"it is withheld, and off; nothing waits for it: `--apply {rail}`"
            verdict = Verdict(True, words)
        elif early:
            words = f"STOP: switch off: {rail} is on before its time; {'; '.join(early)}"
            verdict = Verdict(False, words)
        stored: float | str = "open" if value == float("inf") else value
        return {
            "board": board,
            "rail": rail,
            "unit": unit,
            "value": stored,
            "go": verdict.go,
            "says": verdict.words,
        } | ({"off": True} if off else {})

    def fit(self, name: str, anyway: str | None = None) -> list[str]:
        """Note that a board goes in. Raises NotYetError with all that is still to be proved."""
        missing = self.before(name)
        excuse = _excused(f"{name} stays out", missing, anyway)
        self.journal.append("board-in", {"board": name, **excuse})
        return missing

    def before(self, name: str) -> list[str]:
        """What must be proved before a board goes in, each with what would prove it."""
        step, state = self.step(name), self.state()
        fitted, readings = state["fitted"], state["readings"]
        missing = []
        if name in fitted:
            missing.append(f"{name} is in already")
        for other in self.rack.boards[name].after:
            if other not in fitted:
                missing.append(f"{other} goes in first")
        for board in fitted[:-1]:  # a stop stands until its board is out or reads well
            missing += self._unproved(self.step(board), readings)[0]
        if fitted:
            stops, owed = self._unproved(self.step(fitted[-1]), readings)
            missing += [*stops, *owed]
        for rail in step.rails:
            if rail.ohms is None:
                continue
            seen = readings.get((name, rail.rail, "ohm"))
            if seen is None:
                missing.append(f"dead ohms of {rail.rail} at its edge: `{name}.{rail.rail}=<ohms>`")
            elif not seen["go"]:
                missing.append(str(seen["says"]))
        for lock in step.locks:
            rail_name = self.rack.interlocks[lock].rail
            if rail_name in state["rails"]:
                missing.append(
                    f"{rail_name} must be off until {self.rack.interlocks[lock].needs} is "
                    f"proved: `--withhold {rail_name}`"
                )
        return missing

    def _unproved(
        self, step: Step, readings: dict[tuple[str, str, str], dict[str, Any]]
    ) -> tuple[list[str], list[str]]:
        """What went wrong at the slot of a board that is in, and the readings still owed there:
        rails others wait for, then the rest.
        """
        missing, stops = [], []
        keys = {self.rack.interlocks[lock].needs for lock in step.locks}
        for rail in sorted(step.rails, key=lambda r: r.rail not in keys):
            at = step.board
            for unit, what in (
                ("V", f"volts of {rail.rail} at the slot with {at} in: `{at}.{rail.rail}=<volts>`"),
                ("A", f"amperes {at} added to {rail.rail}: `{at}.{rail.rail}=<amperes>`"),
            ):
                if unit == "A" and (rail.made or rail.amps.high == 0):
                    continue
                seen = readings.get((step.board, rail.rail, unit))
                if seen is None or seen.get("off"):  # a rail withheld is still to be read
                    missing.append(what)
                elif not seen["go"]:
                    stops.append(f"{step.board} {rail.rail}: {seen['says']}")
        return stops, missing

    def take_out(self, name: str) -> None:
        """Note that a board came out. Raises NotFoundError when it is not in."""
        if name not in self.state()["fitted"]:
            raise NotFoundError(f"{name} is not in")
        self.journal.append("board-out", {"board": name})

    def apply(self, rail: str, anyway: str | None = None) -> list[str]:
        """Note that a rail is applied. Raises NotYetError while an interlock is not proved."""
        if rail not in self.rack.rails:
            raise NotFoundError(f"there is no rail {rail}; rails: {', '.join(self.rack.rails)}")
        missing = self.locked(rail)
        excuse = _excused(f"{rail} stays off", missing, anyway)
        self.journal.append("rail-on", {"rail": rail, **excuse})
        return missing

    def locked(self, rail: str, before: Sequence[Mapping[str, Any]] = ()) -> list[str]:
        """Why a rail may not be applied with the boards that are in.

        `before`: readings taken already and not stored yet.
        """
        state = self.state()
        state["readings"] |= {(b["board"], b["rail"], b["unit"]): b for b in before}
        missing = []
        for lock in self.rack.interlocks.values():
            maker = self.rack.rails[lock.needs].on
            if lock.rail != rail or (maker is not None and maker not in state["fitted"]):
                continue
            board = maker or (state["fitted"][-1] if state["fitted"] else "")
            seen = state["readings"].get((board, lock.needs, "V"))
            limits = self.rack.rails[lock.needs].limits
            wanted = f"{show(limits.low, 'V')} to {show(limits.high, 'V')}"
            why = f" ({lock.why})" if lock.why else ""
            if seen is None:
                missing.append(
                    f"{lock.needs} must read {wanted} first{why}: `{board}.{lock.needs}=<volts>`"
                )
            elif not seen["go"]:
                value = show(float(seen["value"]), "V")
                missing.append(f"{lock.needs} reads {value} and must be {wanted}{why}")
        return missing

    def withhold(self, rail: str) -> None:
        """Note that a rail is off."""
        if rail not in self.rack.rails:
            raise NotFoundError(f"there is no rail {rail}; rails: {', '.join(self.rack.rails)}")
        self.journal.append("rail-off", {"rail": rail})


def _excused(refusal: str, missing: list[str], anyway: str | None) -> dict[str, Any]:
    """What the journal keeps of a step taken although proofs were missing.

    Raises NotYetError when some are and no reason was given.
    """
    if not missing:
        return {}
    if not anyway:
        raise NotYetError(refusal, missing)
    return {"anyway": anyway, "unproved": missing}
