"""How much a request may bring: counted as it comes, so that nothing fills the disk on the way."""

from __future__ import annotations

from halfsplit.web.guard import App, Message, Receive, Scope, Send
from halfsplit.web.uploads import MOST_BYTES

MOST = MOST_BYTES + 64 * 1024  # the file, and the words a form puts around it
WORDS = f"Refused: more than {MOST_BYTES / 1e6:.0f} MB at once; send a smaller file.\n"


class TooMuchError(Exception):
    """More came than may."""


class Bounded:
    """An ASGI application that passes on to another what is not too large."""

    def __init__(self, app: App, most: int = MOST) -> None:
        self.app, self.most = app, most

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or refuse: by what is announced, else by what came."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        told = [v for k, v in scope.get("headers", []) if k.lower() == b"content-length"]
        if any(not v.isdigit() or int(v) > self.most for v in told):
            await _refuse(send)
            return
        came, begun = 0, False

        async def counted() -> Message:
            nonlocal came
            message = await receive()
            came += len(message.get("body", b""))
            if came > self.most:
                raise TooMuchError
            return message

        async def sent(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, counted, sent)
        except TooMuchError:
            if not begun:
                await _refuse(send)


async def _refuse(send: Send) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
    await send({"type": "http.response.start", "status": 413, "headers": headers})
    await send({"type": "http.response.body", "body": WORDS.encode()})
