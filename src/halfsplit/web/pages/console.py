"""The console: a port, what comes explained line by line, and the log, a page at a time.

Nothing is sent but what somebody types into the field and sends.
"""

from __future__ import annotations

from functools import partial
from html import escape
from typing import TYPE_CHECKING, Any, cast

from nicegui import ui

from halfsplit.bench.console import OURS
from halfsplit.web.html import Choice, Tag, button, clock, rows
from halfsplit.web.pieces.undo import undo_button
from halfsplit.web.pieces.upload import upload_button
from halfsplit.web.pieces.working import Fields
from halfsplit.web.registry import machine_page
from halfsplit.web.uploads import MOST_LOG, log_in
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.boards.consoles import ConsoleFile
    from halfsplit.boards.port import Flow
    from halfsplit.journal import Journal

PER_PAGE = 3  # entries; some 50 kB of a pasted log
EOLS = [("cr", "CR"), ("lf", "LF"), ("crlf", "CR LF"), ("none", "nothing")]
FLOWS = [("none", "nothing"), ("xon", "XOFF and XON"), ("rts", "CTS")]
LIVE = 60  # lines of the session shown
MOST_TYPED = 200_000  # characters of a log pasted into the field; a larger one comes as a file


@machine_page("console", "Console", order=10, sorts=("console",))
async def console(view: View) -> None:
    """Connect a port, see what comes explained, paste a log, read the log back."""
    Tag("h1", "Console")
    with Tag("div", "", "columns"):
        with Tag("div", "", "first"):
            _port(view)
            Log(view)
        with Tag("div", "", "second"):
            _paste(view)
            _lamps(view)


def _session(view: View) -> dict[str, Any]:
    return view.place.line.session()


def _port(view: View) -> None:
    """The port: connect, what comes, send, disconnect."""
    with Tag("section", "", "next", aria_label="Session"):
        view.live(lambda: _session(view)["port"], partial(_controls, view))
        view.live(lambda: _session(view)["trouble"], _trouble)
        view.live(lambda: _heard(view), _lines, aria_live="off")


def _heard(view: View) -> tuple[int, list[dict[str, Any]]]:
    found = _session(view)
    return found["bytes"], found["lines"][-LIVE:]


def _trouble(words: str) -> None:
    if words:
        Tag("p", f"The session ended: {words}. What came before is kept.", "hazard")


def _controls(view: View, port: str) -> None:
    if not port:
        _connect(view)
        return
    with Tag("div", "", "line"):
        Tag("h2", f"Connected to {port}").mark("connected")

        async def hang_up() -> None:
            await view.place.hang_up()

        button("Disconnect", hang_up, data_key="disconnect").mark("disconnect")
    eol = {"as": view.draft("eol") or "cr"}

    def pick(name: str) -> None:
        eol["as"] = name
        view.keep_draft(eol=name)
        choice.show(name)

    with Tag("div", "", "form"):
        fields = Fields(view, "send", {"text": "To send; nothing else is sent"})

        async def send() -> None:
            text = fields.text("text")
            if await view.trying(_true(view.place.send(text, eol["as"]))):
                fields.clear()

        fields.enter("text", send)
        button("Send", send, "act", data_key="send").mark("send")

        async def send_break() -> None:
            await view.trying(_true(view.place.send_break()))

        button("Send a break", send_break, data_key="break").mark("break")
        Tag("span", "Enter ends it with", "name")
        choice = Choice(EOLS, eol["as"], pick, label="A line sent ends with", key="eol")


def _connect(view: View) -> None:
    from halfsplit.boards.port import ports

    Tag("h2", "No port is connected")
    ready = {"on": True}
    flow: dict[str, Flow] = {"by": "none"}

    def pick(name: str) -> None:
        ready["on"] = name == "on"
        choice.show(name)

    def held_by(name: str) -> None:
        flow["by"] = cast("Flow", name)
        held.show(name)

    with Tag("div", "", "form"):
        labels = {"name": "Serial port, such as /dev/ttyUSB0", "line": "Rate and format, 9600-8N1"}
        fields = Fields(view, "port", labels)

        async def connect() -> None:
            name, line = fields.text("name"), fields.text("line") or "9600-8N1"
            if not name:
                view.alert(["Name the port first."])
                return
            verb = view.place.connect(name, line, ready=ready["on"], flow=flow["by"])
            await view.trying(_true(verb))

        fields.enter("name", connect)
        fields.enter("line", connect)
        options = [("on", "DTR and RTS on"), ("off", "off")]
        choice = Choice(options, "on", pick, label="DTR and RTS", key="ready")
        Tag("span", "What may hold sending back", "name")
        held = Choice(FLOWS, "none", held_by, label="What may hold sending back", key="flow")
        button("Connect", connect, "act", data_key="connect").mark("connect")
    here = ports()
    Tag("p", f"Ports of this computer: {', '.join(here) or 'none found'}.", "quiet-words")
    Tag("p", "Idle volts of the line measured first: see the page “Cable”.", "note")


async def _true(verb: Any) -> bool:
    await verb
    return True


def _lines(state: tuple[int, list[dict[str, Any]]]) -> None:
    count, lines = state
    if not count and not lines:
        return
    Tag("p", f"{count} bytes kept", "quiet-words").mark("bytes")
    _log_html(lines, "What comes")


def _log_html(lines: list[dict[str, Any]], label: str) -> None:
    """Lines of a log with their meanings, as one block: thousands of them stay light."""
    out = []
    for line in lines:
        kind = "sent" if line.get("way") in OURS else "came"
        out.append(f'<span class="{kind}">{escape(line["text"])}</span>')
        out += [
            f'<span class="means">{escape(m["name"])}: {escape(m["text"])}</span>'
            for m in line["means"]
        ]
    with Tag("div", "", "log", tabindex="0", role="log", aria_live="off", aria_label=label):
        ui.html("\n".join(out), tag="pre", sanitize=False)


class Log:
    """The log in the journal, the newest page first."""

    def __init__(self, view: View) -> None:
        self.view = view
        self.before: int | None = None
        self.later: list[int | None] = []
        with Tag("section", "", "box"):
            with Tag("div", "", "line"):
                Tag("h2", "Log")
                button("Show the newest", self.newest, data_key="newest").mark("newest")
                undo_button(view)
            self.box = Tag("div")
        ui.timer(0.05, self.newest, once=True)

    async def newest(self) -> None:
        """Show the newest page."""
        self.before, self.later = None, []
        await self._show()

    async def _show(self) -> None:
        def verb(file: ConsoleFile, journal: Journal) -> dict[str, Any]:
            from halfsplit.bench import console as consoles

            data = consoles.page(file, journal, self.before, PER_PAGE)
            return data | {"lines": [consoles.shown(row) for row in data["lines"]]}

        data = await self.view.trying(self.view.place.console(verb))
        if data is None or self.box.is_deleted:
            return
        self.box.clear()
        with self.box:
            if not data["lines"]:
                Tag("p", "The log is empty: connect a port, or paste one.", "quiet-words")
                return
            first, last = data["lines"][0], data["lines"][-1]
            words = f"Entries {first['entry']} to {last['entry']}, {clock(first['at'])}"
            Tag("p", f"{words}, {len(data['lines'])} lines", "quiet-words").mark("log-page")
            with Tag("div", "", "line"):
                if data["earlier"]:
                    earlier = partial(self._earlier, data["earlier"])
                    button("Earlier", earlier, data_key="earlier").mark("earlier")
                if self.later:
                    button("Later", self._later, data_key="later").mark("later")
            _log_html(data["lines"], "Log")

    async def _earlier(self, before: int) -> None:
        self.later.append(self.before)
        self.before = before
        await self._show()

    async def _later(self) -> None:
        self.before = self.later.pop()
        await self._show()


def _paste(view: View) -> None:
    with Tag("section", "", "box"):
        Tag("h2", "A log from elsewhere")
        text = ui.textarea(
            "What the machine printed",
            value=view.draft("log"),
            on_change=lambda e: view.keep_draft(log=str(e.value or "")),
        )
        text.classes("field tall").props("outlined stack-label spellcheck=false")
        text.props["data-key"], text.props["maxlength"] = "log", MOST_TYPED
        text.mark("log")
        spot = Tag("div", "", "", role="status")

        async def keep(words: str, where: str) -> None:
            def verb(file: ConsoleFile, journal: Journal) -> dict[str, Any]:
                from halfsplit.bench import console as consoles

                said = consoles.paste(file, journal, words, {"from": where})
                known = [consoles.shown(s.as_dict()) for s in said if s.means]
                return {"lines": len(said), "known": known}

            found = await view.trying(view.place.console(verb))
            if found is None or spot.is_deleted:
                return
            text.value = ""
            spot.clear()
            with spot:
                count = f"{len(words)} characters kept, {found['lines']} lines, "
                Tag("p", f"{count}{len(found['known'])} of them known.", "note").mark("kept")
                _log_html(found["known"][-LIVE:], "Lines the file knows")

        async def typed() -> None:
            words = str(text.value or "")
            if not words.strip():
                view.alert(["Paste what the machine printed first."])
                return
            await keep(words, "the page")

        async def take(name: str, data: bytes) -> None:
            async def let() -> tuple[str, str]:
                return log_in(name, data)

            found = await view.trying(let())
            if found is not None:
                await keep(found[1], found[0])

        with Tag("div", "", "choice"):
            button("Keep and explain it", typed, "act", data_key="keep-log").mark("keep-log")
            upload_button(view, "A file instead", take, name="log-upload", most=MOST_LOG)


def _lamps(view: View) -> None:
    if not view.facts["lamps"]:
        return
    with Tag("section", "", "box"):
        Tag("h2", "Lamps")
        spot = Tag("div", "", "", role="status")

        async def told(code: str) -> None:
            from halfsplit.bench.console import lamps_dict

            found = await view.trying(view.place.console(lambda file, _: lamps_dict(file, code)))
            if found is not None and not spot.is_deleted:
                spot.clear()
                with spot:
                    rows([f"{m['name']} ({m['order']}): {m['means']}" for m in found], "note")

        with Tag("div", "", "choice", role="group", aria_label="Lamps as they show"):
            for code in view.facts["lamps"]:
                button(code, partial(told, code), data_key=f"lamps-{code}")
