"""Runs what the documentation shows: files are written, commands typed, output held against it.

In a page, a ``yaml`` block begins with ``# name.yaml`` and is that file; a ``console`` block has
commands after ``$`` and what they print, ``...`` for any text or any lines, and ``# exit code 1``
after a command that must end so; a ``python`` block is a program, what it prints behind ``#:``. All
of a page happens in one folder, with a copy of `examples` in it. A ``text`` block is a figure or
part of something else.
"""

from __future__ import annotations

import io
import os
import re
import shlex
import shutil
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

from halfsplit.cli import main

ROOT = Path(__file__).resolve().parents[2]
_FENCE = re.compile(r"^```(\S*)[^\n]*\n(.*?)^```\s*$", re.M | re.S)
KNOWN = frozenset({"yaml", "console", "python", "text", "{toctree}", "json"})


@dataclass(frozen=True)
class Block:
    """A fenced block: the line it stands on, what it is, what is in it."""

    line: int
    kind: str
    body: str


@dataclass(frozen=True)
class Typed:
    """A command, what it should print (nothing: not held against it), its exit code."""

    command: str
    printed: str
    code: int


def blocks(text: str) -> list[Block]:
    """Every fenced block of a page."""
    return [Block(text[: m.start()].count("\n") + 1, m[1], m[2]) for m in _FENCE.finditer(text)]


def commands(body: str) -> list[Typed]:
    """The commands of a console block."""
    found: list[Typed] = []
    for part in re.split(r"^\$ ", body, flags=re.M)[1:]:
        line, _, printed = part.partition("\n")
        line, _, code = line.partition("  # exit code ")
        found.append(Typed(line.strip(), printed, int(code or 0)))
    return found


def differs(shown: str, printed: str) -> bool:
    """Whether a command printed something else than a page shows."""
    if not shown.strip():
        return False
    pattern = ""
    for line in shown.rstrip("\n").split("\n"):
        if line.strip() == "...":
            pattern += r"(?:[^\n]*\n)*?"
        else:
            pattern += ".*?".join(re.escape(p) for p in line.rstrip().split("...")) + r"[ ]*\n"
    told = "\n".join(line.rstrip() for line in printed.rstrip("\n").split("\n")) + "\n"
    return re.fullmatch(pattern, told) is None


class Page:
    """One page being followed, in a folder of its own that is also the current one."""

    def __init__(self, folder: Path) -> None:
        self.ran: list[Typed] = []
        shutil.copytree(ROOT / "examples", folder / "examples")
        os.chdir(folder)

    def follow(self, text: str) -> list[str]:
        """Do everything a page shows; returns what went otherwise, by line."""
        wrong: list[str] = []
        for block in blocks(text):
            where = f"line {block.line}"
            if block.kind not in KNOWN:
                wrong.append(f"{where}: a block of kind `{block.kind}` is not run")
            elif block.kind == "yaml":
                name = re.match(r"# (\S+\.yaml)\n", block.body)
                if name is None:
                    wrong.append(f"{where}: the block does not say which file it is")
                else:
                    Path(name[1]).parent.mkdir(parents=True, exist_ok=True)
                    Path(name[1]).write_text(block.body, encoding="utf-8")
            elif block.kind == "python":
                wrong += [f"{where}: {e}" for e in self._program(block.body)]
            elif block.kind == "console":
                for typed in commands(block.body):
                    wrong += [f"{where}: $ {typed.command}\n{e}" for e in self._typed(typed)]
        return wrong

    def _typed(self, typed: Typed) -> list[str]:
        self.ran.append(typed)
        command, into = _split(typed.command, " > ")
        command, given = _split(command, " < ")
        words = shlex.split(command)
        if words[0] == "cd":
            os.chdir(words[1])
            return []
        if words[0] == "mkdir":
            Path(words[1]).mkdir()
            return []
        if words[0] == "cp":
            shutil.copy(words[1], words[2])
            return []
        if words[0] != "halfsplit":
            return ["is no command the pages may use"]
        out, code = _halfsplit(words[1:], given)
        wrong = [] if code == typed.code else [f"ended with {code}, not {typed.code}\n{out}"]
        if into:
            Path(into).write_text(out, encoding="utf-8")
        if differs(typed.printed, out):
            wrong.append(f"shown:\n{typed.printed}\nprinted:\n{out}")
        return wrong

    @staticmethod
    def _program(text: str) -> list[str]:
        ran = subprocess.run([sys.executable, "-c", text], capture_output=True, text=True,
                             check=False)  # fmt: skip
        if ran.returncode != 0:
            return [ran.stdout + ran.stderr]
        shown = "".join(f"{line}\n" for line in re.findall(r"^#: ?(.*)$", text, re.M))
        wrong = f"shown:\n{shown}\nprinted:\n{ran.stdout}"
        return [wrong] if differs(shown, ran.stdout) else []


def _split(command: str, mark: str) -> tuple[str, str]:
    before, _, after = command.partition(mark)
    return before, after.strip()


def _halfsplit(argv: list[str], given: str) -> tuple[str, int]:
    """One command in this process; everything it printed, and its exit code."""
    out = io.StringIO()
    stdin = sys.stdin
    try:
        if given:
            sys.stdin = io.StringIO(Path(given).read_text(encoding="utf-8"))
        with redirect_stdout(out), redirect_stderr(out):
            code = main(argv)
    finally:
        sys.stdin = stdin
    return out.getvalue(), code
