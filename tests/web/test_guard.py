"""Who is let in, and who is refused, before any page is asked."""

from __future__ import annotations

from typing import Any

import pytest

from halfsplit.web.guard import Guard, Message, Receive, Rules, Scope, Send, rules

SECRET = "s" * 43
HOST, ORIGIN = "127.0.0.1:8463", "http://127.0.0.1:8463"
COOKIE = f"halfsplit-8463={SECRET}"
LOOPBACK = rules(["127.0.0.1", "localhost", "::1"], 8463, SECRET, open_door=True)
LAN = rules(["127.0.0.1", "192.168.7.4"], 8463, SECRET, open_door=False)


class Inside:
    """The application behind the guard; remembers what came through."""

    def __init__(self) -> None:
        self.came: list[str] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        self.came.append(scope["type"])
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b"inside"})
        else:
            await send({"type": "websocket.accept"})


async def ask(
    what: Rules,
    kind: str = "http",
    path: str = "/",
    query: str = "",
    method: str = "GET",
    **headers: str,
) -> tuple[list[Message], list[str]]:
    """What a request with these headers is answered, and whether it came through."""
    inside, sent = Inside(), []
    raw = [(k.replace("_", "-").encode(), v.encode()) for k, v in headers.items()]
    scope: dict[str, Any] = {"type": kind, "path": path, "headers": raw}
    scope["query_string"] = query.encode()
    if kind == "http":
        scope["method"] = method

    async def receive() -> Message:
        return {"type": "http.request"}

    async def send(message: Message) -> None:
        sent.append(message)

    await Guard(inside, what)(scope, receive, send)
    return sent, inside.came


GOOD = {"host": HOST, "origin": ORIGIN, "cookie": COOKIE}
REFUSED = [
    {"host": HOST, "origin": ORIGIN},  # no cookie
    {**GOOD, "cookie": f"halfsplit-8463={'t' * 43}"},
    {**GOOD, "cookie": "halfsplit-8463="},
    {**GOOD, "cookie": f"other={SECRET}"},
    {**GOOD, "origin": "http://elsewhere.example"},
    {**GOOD, "origin": "http://127.0.0.1:9999"},
    {**GOOD, "origin": "null"},
    {**GOOD, "origin": ORIGIN + ".elsewhere.example"},
    {"host": HOST, "cookie": COOKIE},  # no Origin: no browser's page
    {**GOOD, "host": "elsewhere.example:8463", "origin": "http://elsewhere.example:8463"},
    {**GOOD, "host": "127.0.0.1"},
    {"origin": ORIGIN, "cookie": COOKIE},  # no Host
]


@pytest.mark.parametrize("headers", REFUSED, ids=str)
@pytest.mark.parametrize("what", [LOOPBACK, LAN], ids=["loopback", "lan"])
async def test_a_websocket_of_a_stranger_is_closed(what: Rules, headers: dict[str, str]) -> None:
    sent, came = await ask(what, "websocket", "/_nicegui_ws/socket.io", **headers)
    assert came == []
    assert [(m["type"], m["code"]) for m in sent] == [("websocket.close", 1008)]


@pytest.mark.parametrize("headers", REFUSED, ids=str)
@pytest.mark.parametrize("what", [LOOPBACK, LAN], ids=["loopback", "lan"])
async def test_a_posting_stranger_is_refused(what: Rules, headers: dict[str, str]) -> None:
    sent, came = await ask(what, "http", "/_nicegui_ws/socket.io", method="POST", **headers)
    assert came == [] and sent[0]["status"] == 403


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize("what", [LOOPBACK, LAN], ids=["loopback", "lan"])
async def test_our_own_page_comes_through(what: Rules, kind: str) -> None:
    sent, came = await ask(what, kind, **GOOD)
    assert came == [kind]
    if kind == "http":
        names = {k for k, _ in sent[0]["headers"]}
        assert {b"content-security-policy", b"x-content-type-options"} <= names


async def test_two_hosts_are_no_host() -> None:
    inside, sent = Inside(), []
    headers = [(b"host", HOST.encode()), (b"host", b"elsewhere.example")]
    headers += [(b"cookie", COOKIE.encode()), (b"origin", ORIGIN.encode())]
    scope = {"type": "websocket", "path": "/", "query_string": b"", "headers": headers}

    async def send(message: Message) -> None:
        sent.append(message)

    await Guard(inside, LOOPBACK)(scope, send, send)  # type: ignore[arg-type]
    assert inside.came == [] and sent[0]["type"] == "websocket.close"


async def test_on_this_machine_the_first_page_hands_out_the_cookie() -> None:
    sent, came = await ask(LOOPBACK, path="/bench/a.yaml", host="localhost:8463")
    given = dict(sent[0]["headers"])[b"set-cookie"].decode()
    assert came == ["http"] and given.startswith(COOKIE)
    assert "HttpOnly" in given and "SameSite=Strict" in given


@pytest.mark.parametrize(
    ("path", "more"),
    [
        ("/_nicegui/3/static/nicegui.js", {}),
        ("/static/0.1.0/bench.js", {}),
        ("/", {"sec_fetch_dest": "iframe"}),
        ("/", {"sec_fetch_dest": "image"}),
        ("/", {"origin": "http://elsewhere.example"}),
    ],
)
async def test_nothing_else_does(path: str, more: dict[str, str]) -> None:
    sent, came = await ask(LOOPBACK, path=path, host=HOST, **more)
    assert came == [] and sent[0]["status"] == 403
    assert b"set-cookie" not in dict(sent[0]["headers"])


async def test_on_a_network_only_the_token_opens() -> None:
    host = "192.168.7.4:8463"
    sent, came = await ask(LAN, host=host)
    assert came == [] and sent[0]["status"] == 403
    sent, came = await ask(LAN, query="token=wrong", host=host)
    assert came == [] and sent[0]["status"] == 403
    assert b"set-cookie" not in dict(sent[0]["headers"])
    query = f"search=a%22b&token={SECRET}"
    sent, came = await ask(LAN, path="//elsewhere.example/", query=query, host=host)
    page = sent[1]["body"].decode()
    assert came == [] and sent[0]["status"] == 200
    assert dict(sent[0]["headers"])[b"set-cookie"].decode().startswith(COOKIE)
    assert SECRET not in page
    assert 'content="0;url=/elsewhere.example/?search=a%22b"' in page


async def test_words_of_the_server_itself_pass() -> None:
    inside = Inside()

    async def nothing(*_: Any) -> Any:
        return {}

    await Guard(inside, LOOPBACK)({"type": "lifespan"}, nothing, nothing)
    assert inside.came == ["lifespan"]
