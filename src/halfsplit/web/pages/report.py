"""The report: made here, opened in a tab of its own or saved as PDF; and its label."""

from __future__ import annotations

from halfsplit.web.html import Tag
from halfsplit.web.pieces.sheets import sheet_button
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View


@machine_page("report", "Report", order=90)
async def report(view: View) -> None:
    """As found, faults with their evidence, parts fitted, readings, what is open; and the label."""
    Tag("h1", "Report")
    Tag("p", "The same journal gives the same bytes. A report asks for nothing from outside.")
    with Tag("section", "", "box"):
        Tag("h2", "Quick report")
        Tag("p", "Without proofs, load curves and how suspicion moved: seconds.", "quiet-words")
        sheet_button(view, "report", "Make the quick report")
    with Tag("section", "", "box"):
        Tag("h2", "Full report")
        Tag("p", "With all of it: minutes on a machine not worked out before.", "quiet-words")
        sheet_button(view, "report", "Make the full report", quick=False)
    with Tag("section", "", "box"):
        Tag("h2", "Handover label")
        Tag("p", "A7, for the machine: state, mains setting, what is open, hazards.", "quiet-words")
        sheet_button(view, "label", "Make the label")
    with Tag("section", "", "box"):
        Tag("h2", "Worksheet")
        Tag("p", "The open steps of the plan, else the next check, with blanks.", "quiet-words")
        sheet_button(view, "worksheet", "Make the worksheet")
