"""A fault script: what is wrong with one specimen, laid over its assembly, not another circuit.

faults:
  C4: {mode: short, why: age}
  CR4: {fitted: {value: 6.8V}, why: an earlier repairer}
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

from halfsplit.assembly.advice import shown
from halfsplit.assembly.condition import Change, find_part, refit
from halfsplit.assembly.file import Reader, near
from halfsplit.assembly.model import Assembly
from halfsplit.circuit.netlist import Overrides
from halfsplit.parts.base import Part
from halfsplit.problems import HalfsplitError, ProblemsError


class _ScriptReader(Reader):
    """One pass over a fault script."""

    samples: ClassVar[Mapping[str, str]] = {"faults": "C4: {mode: short}"}


def load_faults(assembly: Assembly, path: Path) -> Overrides:
    """Parameter changes of every fault in the script.

    Raises ProblemsError listing everything wrong with it: unknown parts, modes, fields, values.
    """
    reader = _ScriptReader(path)
    document = reader.read()
    changes: Overrides = {}
    if document is not None:
        for key in document:
            if key != "faults":
                reader.add(str(key), f"there is no section `{key}` in a fault script", "faults")
        for ref, entry in reader.section(document, "faults").items():
            where = f"faults.{ref}"
            try:
                part = find_part(assembly, ref)
                changes |= _one(reader, part, entry, where)
            except HalfsplitError as error:
                reader.add(where, str(error))
    if reader.problems:
        raise ProblemsError(reader.problems)
    return changes


def _one(reader: Reader, part: Part, entry: Any, where: str) -> Overrides:
    if isinstance(entry, str):
        entry = {"mode": entry}
    told = set(entry) if isinstance(entry, dict) else set()
    if told - {"mode", "fitted", "why"} or ("mode" in told) == ("fitted" in told):
        reader.add(where, "say one of mode or fitted", "{mode: short}, or {fitted: {value: 33u}}")
        return {}
    if "mode" in entry:
        modes = {m.name: m.changes for m in part.modes()}
        mode = str(entry["mode"])
        if mode not in modes:
            advice = near(mode, modes) or ", ".join(modes)
            reader.add(where, f"a {part.KIND} has no mode {shown(entry['mode'])}", advice)
            return {}
        return dict(modes[mode])
    values = entry["fitted"]
    if not isinstance(values, dict):
        reader.add(f"{where}.fitted", "must be `{field: value}`", "{value: 33u}")
        return {}
    fields = [k for k in type(part).model_fields if k not in ("ref", "kind")]
    for key in values:
        if key not in fields:
            advice = near(str(key), fields)
            reader.add(f"{where}.fitted.{key}", f"a {part.KIND} has no {shown(key)}", advice)
            return {}
    texts = tuple(sorted((str(k), str(v)) for k, v in values.items()))
    fitted = refit(part, Change(part.ref, "fitted", "", texts))
    return {
        (e.name, name): value
        for e in fitted.elements()
        for name, value in zip(e.PARAMS, e.vector(), strict=True)
    }
