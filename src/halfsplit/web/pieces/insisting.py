"""A verb the bench may refuse: its reasons told, and a reason asked for to do it all the same.

The refusal is the verb's own; what is here only shows it and hands the typed reason back to it.
"""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any, TypeVar

from halfsplit.bench.lanes import StoppedError
from halfsplit.problems import HalfsplitError
from halfsplit.web.html import button, field
from halfsplit.web.pieces.said import for_page
from halfsplit.web.view import View, words_of

T = TypeVar("T")
Verb = Callable[[str | None], Awaitable[T]]
# How a refusal ends for somebody at a command line; here a field and a button do that.
_TYPED = re.compile(
    r'[\s.:;,]*(?:Write )?(?:that)?;?\s*(?:else|To go on all the same:)?\s*(?:--)?anyway "[^"]*"\.?'
)


async def insisting(view: View, verb: Verb[T], then: Callable[[T], Any] = lambda _: None) -> bool:
    """Do a verb; a refusal is told with a field for the reason. Whether it was done."""
    return await _do(view, verb, then, None)


async def _do(view: View, verb: Verb[T], then: Callable[[T], Any], why: str | None) -> bool:
    view.alert([])
    try:
        done = await verb(why)
    except StoppedError:
        view.alert(["Stopped; nothing was stored."])
        return False
    except HalfsplitError as error:
        can = "anyway" in str(error)
        lines = [for_page(_told(line)) for line in words_of(error)]
        view.alert(lines, partial(_reason, view, verb, then) if can else None)
        return False
    then(done)
    return True


def _told(line: str) -> str:
    """A refusal without the option a command line would be given, nor the name of its step."""
    bare = _TYPED.sub("", line)
    return "Not yet: " + bare.partition("not yet: ")[2] if "not yet: " in bare else bare


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
