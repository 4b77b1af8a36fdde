"""A button that lets a file be chosen; what came is checked before anything is done with it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Any

from nicegui import events, ui

from halfsplit.web.html import button
from halfsplit.web.view import View

Take = Callable[[str, bytes], Awaitable[Any]]


def upload_button(view: View, words: str, take: Take, *, name: str, most: int) -> None:
    """A button for one file of up to `most` bytes; `take` gets its name and bytes."""

    async def came(event: events.UploadEventArguments) -> None:
        uploader.reset()
        if event.file.size() > most:
            view.alert([f"That file is over the {most / 1e6:.0f} MB taken here."])
            return
        await take(event.file.name, await event.file.read())

    uploader = ui.upload(
        auto_upload=True,
        max_file_size=most,
        on_upload=came,
        on_rejected=lambda: view.alert([f"A file of at most {most / 1e6:.0f} MB is taken here."]),
    )
    uploader.classes("uploader").mark(name)
    uploader.props["data-key"] = f"{name}-file"
    button(words, lambda: uploader.run_method("pickFiles"), data_key=name)
