"""A file sent from a page: a plain file field, sent by the browser as soon as one is chosen."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from nicegui import events, ui

from halfsplit.problems import Problem
from halfsplit.web.frame import ASSETS
from halfsplit.web.html import Tag
from halfsplit.web.uploads import MOST_BYTES, shown_name
from halfsplit.web.view import View, plain

Take = Callable[[str, bytes], Awaitable[None]]


def file_field(view: View, label: str, accept: str, take: Take, *, key: str) -> ui.upload:
    """A labelled file field; `take` gets the name for people and the bytes of each file sent.

    The framework's own uploader stays hidden: it receives, the plain field is what people use.
    """

    async def came(event: events.UploadEventArguments) -> None:
        name = shown_name(event.file.name)
        if event.file.size() > MOST_BYTES:  # some other program sent it; the page's own asks first
            wrong = f"this is more than the {MOST_BYTES / 1e6:.0f} MB taken here"
            view.alert([plain(Problem(name, 0, 0, "", wrong, "a smaller one"))])
            return
        await take(name, await event.file.read())

    ui.add_head_html(f'<script src="{ASSETS}/sending.js"></script>')
    receiver = ui.upload(on_upload=came).style("display: none")
    with Tag("div", "", "sending"):
        with Tag("label"):
            Tag("span", label, "name")
            chooser = ui.element("input")
        chooser.props["type"] = "file"
        chooser.props["accept"] = accept
        chooser.props["multiple"] = True
        chooser.props["data-posts"] = receiver.props["url"]
        chooser.props["data-most"] = MOST_BYTES
        chooser.props["data-key"] = key
        Tag("p", "", "sent quiet-words", role="status")
    return receiver
