"""Change one value of an assembly file, leaving every comment and every other line alone."""

from __future__ import annotations

import io
from pathlib import Path

from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap

from halfsplit.assembly.file import load, near
from halfsplit.problems import NotFoundError, ProblemsError


def set_value(path: Path, dotted: str, text: str) -> str:
    """Set the entry at `dotted` (such as ``parts.R6.value``) to `text`; returns what stood there.

    The new file is written beside the old and put in its place only if it loads without error.
    Raises NotFoundError for a path that does not lead to a mapping, ProblemsError when the result
    would be wrong; the file is untouched in both cases.
    """
    yaml = YAML(typ="rt")
    yaml.preserve_quotes = True
    yaml.width = 4096
    document = yaml.load(path.read_text(encoding="utf-8"))
    *folders, key = dotted.split(".")
    node = document
    for step in folders:
        if not isinstance(node, CommentedMap) or step not in node:
            known = list(node) if isinstance(node, CommentedMap) else []
            close = near(step, known)
            raise NotFoundError(
                f"{path}: there is no `{step}` on the way to {dotted}"
                + (f"; did you mean {close}?" if close else "")
            )
        node = node[step]
    if not isinstance(node, CommentedMap):
        raise NotFoundError(f"{path}: {dotted} does not lead to an entry")
    old = str(node.get(key, ""))
    node[key] = text
    out = io.StringIO()
    yaml.dump(document, out)
    trial = path.with_name(f".{path.name}.new")
    trial.write_text(out.getvalue(), encoding="utf-8")
    assembly, problems = load(trial)
    if assembly is None:
        trial.unlink()
        errors = [p for p in problems if p.severity == "error"]
        raise ProblemsError([type(p)(**{**p.as_dict(), "file": str(path)}) for p in errors])
    trial.replace(path)
    return old
