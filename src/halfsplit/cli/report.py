"""The command that writes what was found and done: a page, paper, a label, a worksheet."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from cyclopts import Parameter

from halfsplit.cli import show
from halfsplit.cli.common import Json, emit, session
from halfsplit.cli.picture import write
from halfsplit.problems import Problem, ProblemsError


def report(
    file: Path,
    *,
    html: Annotated[Path | None, Parameter(help="write the report as one page here")] = None,
    pdf: Annotated[Path | None, Parameter(help="write the report as PDF here")] = None,
    label: Annotated[
        Path | None, Parameter(help="write a handover label (A7) here, .pdf or .html")
    ] = None,
    worksheet: Annotated[
        Path | None, Parameter(help="write a page of next steps here, .pdf or .html")
    ] = None,
    quick: Annotated[
        bool, Parameter(negative="", help="leave out proofs, curves and how suspicion moved")
    ] = False,
    json: Json = False,
) -> int:
    """Report on a machine: as found, faults with evidence, parts fitted, readings, what is open.

    The same journal gives the same bytes. Nothing in the page asks for anything from outside.
    """
    small = [p for p in (label, worksheet) if p is not None]
    problems = [
        Problem(
            str(p), 0, 0, "", "the name tells whether it is paper or a page", "label.pdf, .html"
        )
        for p in small
        if p.suffix.lower() not in (".pdf", ".html")
    ]
    if not (html or pdf or small or json):
        wrong = "nothing says where the report goes"
        instead = "--html report.html, --pdf report.pdf, --label label.pdf, --worksheet sheet.pdf"
        problems.append(Problem("", 0, 0, "report", wrong, instead))
    if problems:
        raise ProblemsError(problems)
    from halfsplit.bench.bringing import plain
    from halfsplit.report.gather import gather

    with session(file) as bench:
        data: dict[str, Any] = plain(gather(bench, quick=quick))
    files = written(data, html=html, pdf=pdf, label=label, worksheet=worksheet)
    return emit({**data, "files": files}, json, lambda: _said(data, files))


def written(data: dict[str, Any], **asked: Path | None) -> list[str]:
    """Write what is asked for; returns the names of the files. Raises ProblemsError."""
    from halfsplit.report import compose, page, paper

    made: list[str] = []
    for kind, path in asked.items():
        if path is None:
            continue
        on_paper = (
            path.suffix.lower() == ".pdf" if kind in ("label", "worksheet") else kind == "pdf"
        )
        if kind == "label":
            said = compose.label(data)
            content: str | bytes = (
                paper.label_pdf(said, data["timestamp"]) if on_paper else page.label_html(said)
            )
        else:
            made_of = compose.worksheet if kind == "worksheet" else compose.document
            said = made_of(data)
            content = paper.pdf(said, data["timestamp"]) if on_paper else page.html(said)
        write(path, content)
        made.append(str(path))
    return made


def _said(data: dict[str, Any], files: list[str]) -> None:
    show.say(f"State: {data['state']}")
    show.say(f"{len(data['faults'])} faults found, {len(data['doubts'])} residual doubts")
    for name in files:
        show.say(f"Written: {name}")
