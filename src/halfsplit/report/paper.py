"""A report as PDF, set by typst: the data is handed over as JSON, so that no text is markup."""

from __future__ import annotations

import json
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from halfsplit.svg import clean


def pdf(document: dict[str, Any], timestamp: int) -> bytes:
    """The pages of a report or worksheet; the same bytes for the same data and time [Unix s]."""
    return _set("report.typ", document, timestamp)


def label_pdf(label: dict[str, Any], timestamp: int) -> bytes:
    """One label, A7."""
    return _set("label.typ", label, timestamp)


def _set(template: str, data: dict[str, Any], timestamp: int) -> bytes:
    import typst

    with as_file(files("halfsplit.report") / template) as source:
        made = typst.compile(
            source,
            format="pdf",
            font_paths=[_fonts()],
            ignore_system_fonts=True,  # what is installed must not change a page
            sys_inputs={"data": json.dumps(_plain(data), ensure_ascii=False)},
            timestamp=timestamp,
        )
    return bytes(made or b"")


def _fonts() -> Path:
    """DejaVu, which comes with matplotlib: Latin, Greek, Cyrillic, Hebrew, Arabic, signs."""
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def _plain(data: Any) -> Any:
    """Text without the characters neither XML nor UTF-8 can hold."""
    if isinstance(data, dict):
        return {k: _plain(v) for k, v in data.items()}
    if isinstance(data, list):
        return [_plain(v) for v in data]
    return clean(data) if isinstance(data, str) else data
