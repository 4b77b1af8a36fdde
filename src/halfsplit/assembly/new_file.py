"""The file of a new machine: its name, its common net, and room for parts."""

from __future__ import annotations

import os
import re
import unicodedata
from pathlib import Path

from halfsplit.assembly.plain import value_text
from halfsplit.assembly.typed_line import LONGEST, reads_as_net
from halfsplit.problems import HalfsplitError, Problem, ProblemsError

_HEAD = (
    "# Typed from the drawing, one line a part. `halfsplit check` says what is wrong or missing.\n"
)


def file_name(name: str) -> str:
    """A plain file name made of a machine's name; "machine" where nothing of it can be used."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60] or "machine"


def new_file(path: Path, name: str, common: str = "com") -> Path:
    """Write the file of a new machine; on disk when this returns.

    Raises ProblemsError for a name or net that will not do, HalfsplitError when something is there
    already or nothing can be written.
    """
    name, common = name.strip(), common.strip()
    problems = []
    if not name or len(name) > LONGEST or not name.isprintable():
        problems.append(Problem("", 0, 0, "name", "a machine needs a name", "Bench supply 12 V"))
    if not reads_as_net(common):
        problems.append(Problem("", 0, 0, "common", "a net is one word", "com"))
    if path.suffix not in (".yaml", ".yml"):
        wrong = f"{path.name} is no name for a machine's file"
        problems.append(Problem("", 0, 0, "file", wrong, f"{path.stem or 'machine'}.yaml"))
    if problems:
        raise ProblemsError(problems)
    text = f"{_HEAD}assembly: {value_text(name)}\ncommon: {value_text(common)}\n\nparts:\n"
    try:
        with path.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
    except FileExistsError:
        raise HalfsplitError(f"{path} is there already; name a new file") from None
    except OSError as error:
        raise HalfsplitError(f"{path}: cannot be written: {error.strerror or error}") from error
    return path
