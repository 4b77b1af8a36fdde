"""A verb the bench may refuse: its reasons told, and a reason asked for to do it all the same.

The refusal is the verb's own; what is here only shows it and hands the typed reason back to it.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any, TypeVar

from halfsplit.problems import HalfsplitError, ProblemsError
from halfsplit.web.html import button, field
from halfsplit.web.pieces.said import for_page
from halfsplit.web.view import View, words_of

T = TypeVar("T")
Verb = Callable[[str | None], Awaitable[T]]


async def insisting(view: View, verb: Verb[T], then: Callable[[T], Any] = lambda _: None) -> bool:
    """Do a verb; a refusal is told with a field for the reason. Whether it was done."""
    return await _do(view, verb, then, None)


async def _do(view: View, verb: Verb[T], then: Callable[[T], Any], why: str | None) -> bool:
    view.alert([])
    try:
        done = await verb(why)
    except HalfsplitError as error:
        lines, can = refusal(error)
        view.alert(lines, partial(_reason, view, verb, then) if can else None)
        return False
    then(done)
    return True


def refusal(error: HalfsplitError) -> tuple[list[str], bool]:
    """What is refused and why, a line each, and whether a reason passes it."""
    from halfsplit.bench.racks import NotYetError

    if isinstance(error, NotYetError):
        return [_line(r) for r in error.reasons], True
    # A reason too poor to keep is asked for again.
    if isinstance(error, ProblemsError) and any(
        "anyway" in (p.past, p.path) for p in error.problems
    ):
        return [_line(p.wrong) for p in error.problems], True
    return words_of(error), False


def _line(words: str) -> str:
    told = for_page(words)
    return f"{told[:1].upper()}{told[1:]}."


def _reason(view: View, verb: Verb[T], then: Callable[[T], Any]) -> None:
    why = {"text": ""}

    async def go() -> None:
        await _do(view, verb, then, why["text"])

    made = field(
        "Reason to do it all the same; it is kept and shown",
        "",
        lambda t: why.update(text=t),
        data_key="why-anyway",
    )
    made.mark("why-anyway")
    button("Do it all the same", go, "danger", data_key="do-anyway").mark("do-anyway")
