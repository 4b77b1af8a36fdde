"""What patterns there are, and what one of them is made of, as plain data."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from halfsplit.assembly.advice import near
from halfsplit.assembly.pattern import COMMON, Pattern, Role
from halfsplit.assembly.pattern_find import Library, known, own_folder, shipped
from halfsplit.problems import NotFoundError, Problem, ProblemsError


def beside_of(beside: Path | None) -> Path:
    """The file whose surroundings are looked through: a machine's, or anything in a folder."""
    if beside is None:
        return Path.cwd() / "machine.yaml"
    return beside / "machine.yaml" if beside.is_dir() else beside


def pattern_rows(beside: Path | None) -> list[dict[str, Any]]:
    """Every pattern within reach: name, what it is, whose it is, problems of its file."""
    at = beside_of(beside)
    library = Library(at)
    found = []
    for name, path in known(at).items():
        made, problems = library.get(path)
        found.append(
            {
                "name": name,
                "is": made.what if made else "",
                "whose": whose(path),
                "file": str(path),
                "parts": len(made.roles) if made else 0,
                "problems": [p.as_dict() for p in problems],
            }
        )
    return found


def whose(path: Path) -> str:
    """Where a pattern comes from, in a word or two."""
    if path.parent == shipped():
        return "shipped"
    return "your own folder" if path.parent == own_folder() else "beside the file"


def pattern_dict(name: str, beside: Path | None) -> dict[str, Any]:
    """One pattern in full. Raises NotFoundError, or ProblemsError for a file that is wrong."""
    at = beside_of(beside)
    path = Library(at).find(name)
    if path is None:
        close = near(name, known(at))
        hint = f"did you mean {close}?" if close else "`halfsplit patterns` lists them"
        raise NotFoundError(f"there is no pattern {name}; {hint}")
    made, problems = Library(at).get(path)
    if made is None:
        raise ProblemsError(problems)
    return {
        "name": made.name,
        "is": made.what,
        "why": made.why,
        "whose": whose(path),
        "file": str(path),
        "polarity": ["positive", "negative"] if made.mirrors else [],
        "nets": [_net(made, n) for n in (*made.nets, *made.inner())],
        "values": [
            {"name": p.name, "unit": p.unit, "is": p.what, "default": p.default, "why": p.why}
            for p in made.parameters.values()
        ],
        "parts": [_role(r) for r in made.roles.values()],
        "example": made.example,
    }


def _net(made: Pattern, name: str) -> dict[str, Any]:
    net = made.nets.get(name)
    if net is None:
        return {"name": name, "is": "inside", "unless_given": "a name of its own"}
    default = "the common net" if net.net == COMMON else f"as {net.net}" if net.net else ""
    own = "a name of its own" if net.optional and not default else default
    return {"name": name, "is": net.what, "unless_given": own}


def _role(role: Role) -> dict[str, Any]:
    without = {"": "", "open": "nothing there", "joined": "a link"}
    return {
        "role": role.name,
        "is": role.what,
        "kind": role.kind,
        "fields": dict(role.fields),
        "nets": dict(role.nets),
        "if_left_out": without.get(role.absent, f"{role.absent} joined"),
    }


def pattern_problems(path: Path) -> list[Problem]:
    """Everything wrong with one pattern file."""
    return Library(path).get(path.resolve() if path.is_file() else path)[1]
