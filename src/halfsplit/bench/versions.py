"""Two versions of a file against each other, in words and on one picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from halfsplit.assembly.differences import Differences, differences
from halfsplit.assembly.file import load
from halfsplit.assembly.model import Assembly
from halfsplit.boards.which import misplaced
from halfsplit.pictures.blocks import compared
from halfsplit.pictures.circuit import sheet_svg
from halfsplit.problems import HalfsplitError, NotFoundError, ProblemsError


@dataclass(frozen=True)
class Versions:
    """Two readable versions of one machine."""

    before: Assembly
    after: Assembly

    def told(self) -> Differences:
        """What differs, in words."""
        return differences(self.before, self.after)

    def drawn(self, blocks: Sequence[str] = (), standalone: bool = False) -> str:
        """What differs on the picture of the earlier version; of all blocks where it does.

        Raises NotFoundError for a block there is not, HalfsplitError when nothing drawn differs.
        """
        _, choice, sheet = compared(self.before, self.after, blocks)
        if not sheet.symbols:
            raise HalfsplitError("no part differs, so there is nothing to draw; --block draws one")
        name = f"{self.after.name}: what differs from the earlier version"
        return sheet_svg(sheet, choice, {}, name, standalone)


def versions(after: Path, *, before: Path | None = None, text: str | None = None) -> Versions:
    """The file `after` and an earlier version: another file, or an earlier text of the same file.

    Raises NotFoundError, or ProblemsError with everything wrong in either.
    """
    old = _read(before) if before is not None else _read(after, text or "")
    return Versions(old, _read(after))


def _read(path: Path, text: str | None = None) -> Assembly:
    assembly, problems = load(path, text)
    if assembly is not None:
        return assembly
    if text is None and "no such file" in problems[0].wrong:
        raise NotFoundError(f"{path}: {problems[0].wrong}")
    raise ProblemsError((misplaced(path, "assembly") if text is None else []) or problems)
