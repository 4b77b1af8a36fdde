"""Printing of what to do before or instead of the next check."""

from __future__ import annotations

from typing import Any

from rich.markup import escape

from halfsplit.cli import show


def swap(found: dict[str, Any]) -> None:
    """A part to change straight away."""
    show.out.print(
        f"[bold]Change {escape(' and '.join(found['parts']))} straight away[/]: "
        f"{show.percent(found['chance'])}, {found['minutes']:g} min; "
        f"{found['expected_minutes']:g} min in all on average, {found['measuring_first']:g} with "
        "the check below first"
    )
    show.cautions(found["before"])


def odd(file: str, found: dict[str, str]) -> None:
    """A part found marked otherwise than drawn."""
    show.say(
        f"{found['part']} is not as drawn ({found['found']}, drawn {found['drawn']}); readings "
        f"are weighed with it in. When the drawn one is in: change {file} {found['part']} fitted"
    )
