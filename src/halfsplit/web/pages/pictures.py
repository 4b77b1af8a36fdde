"""What can be drawn of a machine: circuit, map, waveforms, curves, how suspicion moved."""

from __future__ import annotations

import asyncio
import tempfile
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from nicegui import background_tasks, events, ui

from halfsplit.problems import HalfsplitError
from halfsplit.web.html import Choice, Tag, button, field
from halfsplit.web.pieces.drawn import Drawn, chart, draw_chart, drawing, leans_map
from halfsplit.web.pieces.sight import scripts
from halfsplit.web.registry import machine_page
from halfsplit.web.sending import file_field
from halfsplit.web.uploads import let_in
from halfsplit.web.view import View, words_of

if TYPE_CHECKING:
    from halfsplit.bench.noting import Noter
    from halfsplit.bench.session import Session

KINDS = {
    "circuit": "Circuit",
    "wave": "Waveform",
    "load": "Against load",
    "limit": "Current limit",
    "suspicion": "Suspicion",
    "leans": "Leans on",
    "reform": "Reforming",
}
HOPS = (("1", "Next neighbours"), ("2", "Two nets away"))
CAPTURED = ".csv,text/csv,text/plain"


@machine_page("pictures", "Pictures", order=60)
async def pictures(view: View) -> None:
    """The circuit around a place, waveforms, curves, and how suspicion moved."""
    scripts()
    known = await view.place.look(_known)
    asked = dict(ui.context.client.request.query_params)
    Tag("h1", "Pictures")
    PicturesPage(view, known, asked)


def _known(noter: Noter) -> dict[str, list[str]]:
    at = noter.assembly
    formed = dict.fromkeys(
        str(e.body["part"]) for e in noter.entries if e.kind == "reform" and "part" in e.body
    )
    return {"rails": list(at.rails), "formed": [ref for ref in formed if ref in at.parts]}


class PicturesPage:
    """One device's choice of picture; what has to be worked out is worked out by the thinker."""

    def __init__(self, view: View, known: dict[str, list[str]], asked: dict[str, str]) -> None:
        self.view, self.known = view, known
        kind = asked.get("picture", "")
        self.kind = kind if kind in KINDS else "circuit"
        self.around = asked.get("around", "") or self._next() or (known["rails"] or [""])[0]
        self.hops = 1
        self.net = asked.get("net", "") or self._next()
        self.rail = (known["rails"] or [""])[0]
        self.feed = str(view.ledger["condition"]["feed"])
        self.captured: tuple[str, bytes] | None = None
        self.kinds = Choice(KINDS.items(), self.kind, self._kind, label="Picture of", key="kind")
        with Tag("datalist", id="everything"):
            for place in view.facts["places"]:
                Tag("option", place["where"], value=place["name"])
            for part in view.facts["parts"]:
                Tag("option", part["label"], value=part["ref"])
        with Tag("datalist", id="places"):
            for place in view.facts["places"]:
                Tag("option", place["where"], value=place["name"])
        self.panel = Tag("section", "", "box")
        self._draw()

    def _next(self) -> str:
        """Where the next check reads, or the part it looks at."""
        checks = self.view.place.desk.advice.checks
        return str(checks[0].get("part") or checks[0]["net"]) if checks else ""

    def _kind(self, kind: str) -> None:
        self.kind = kind
        self.kinds.show(kind)
        self._draw()

    def _draw(self) -> None:
        self.panel.clear()
        draw: dict[str, Callable[[], None]] = {
            "circuit": self._circuit,
            "wave": self._wave,
            "load": partial(self._of_rail, "load"),
            "limit": partial(self._of_rail, "limit"),
            "suspicion": self._suspicion,
            "leans": self._leans,
            "reform": self._reform,
        }
        with self.panel:
            draw[self.kind]()

    # -- the circuit around a place ----------------------------------------------------------------

    def _circuit(self) -> None:
        with Tag("div", "", "form"):
            at = field("Around a part, net or rail", self.around, self._typed, data_key="around")
            at.props["data-list"] = "everything"
            at.mark("around")
            at.on("keydown.enter", self._draw, args=[])
            button("Draw", self._draw, "act", data_key="draw")
            if (following := self._next()) and following != self.around:
                button(f"At the next check, {following}", partial(self._go, following))
        Choice(HOPS, str(self.hops), self._hop, label="How far", key="hops")
        self.sheet = Tag("div", "", "")
        background_tasks.create(self._draw_circuit(self.sheet), name="circuit")

    def _typed(self, text: str) -> None:
        self.around = text.strip()

    def _hop(self, hops: str) -> None:
        self.hops = int(hops)
        self._draw()

    def _go(self, name: str) -> None:
        self.around = name
        self._draw()

    async def _draw_circuit(self, box: Tag) -> None:
        """Bare at once; then, where that takes no minutes, with what it should read and reads."""
        around, hops = self.around, self.hops
        bare = await self.view.trying(
            self.view.place.look(partial(_bare, around=around, hops=hops))
        )
        if bare is None or box.is_deleted:
            return
        with box:
            about = Tag("p", "", "quiet-words", role="status")
            shown = Tag("div")
            with shown:
                self._drawn(*bare)

        async def with_notes() -> None:
            about.text = "Working out what it should read …"
            verb = partial(_noted, around=around, hops=hops)
            what = f"what it should read around {around}"
            noted = await self.view.trying(self.view.place.ask(verb, what))
            if box.is_deleted:
                return
            if noted is None:
                about.text = "Drawn without what it should read."
                return
            now = self.view.ledger["condition_words"]
            about.text = f"exp: should read with nothing wrong, is: was read; {now}."
            shown.clear()
            with shown:
                self._drawn(*noted)

        if self.view.facts["slow"]:
            with box:
                button("Write in what it should read", with_notes, data_key="notes")
        else:
            await with_notes()

    def _drawn(self, picture: str, parts: list[str], nets: list[str]) -> None:
        box = drawing(picture, f"circuit around {self.around}")
        box.props["data-picks"] = ""
        box.on("choose", self._chosen, args=["detail"])
        with Tag("div", "", "choice", role="group", aria_label="Go on to"):
            Tag("span", "Go on to", "name")
            for name in [*parts, *nets]:
                if name != self.around:
                    go = button(name, partial(self._go, name), data_key=f"go-{name}")
                    go.mark(f"go-{name}")

    def _chosen(self, event: events.GenericEventArguments) -> None:
        name = str((event.args.get("detail") or {}).get("name", ""))
        if name:
            self._go(name)

    # -- charts ------------------------------------------------------------------------------------

    def _wave(self) -> None:
        with Tag("div", "", "form"):
            at = field("Net, rail or point", self.net, self._netted, data_key="net")
            at.props["data-list"] = "places"
            at.on("keydown.enter", self._draw, args=[])
            button("Draw", self._draw, "act", data_key="draw")
        feeds = [(f["name"], f["name"]) for f in self.view.facts["feeds"]]
        with Tag("div", "", "piece"):
            Tag("span", "Fed by", "name")
            Choice(feeds, self.feed, self._fed, label="Fed by", key="feed")
        label = "What a scope captured there, as CSV"
        file_field(self.view, label, CAPTURED, self._take, key="csv").mark("csv")
        if self.captured is not None:
            with Tag("div", "", "line"):
                Tag("p", f"Captured: {self.captured[0]}")
                button("Leave it out", self._leave_out, data_key="leave-out").mark("leave-out")
        if not self.net:
            Tag("p", "Say first where.", "quiet-words")
            return
        net, captured, feed = self.net, self.captured, self.feed

        def verb(session: Session) -> Any:
            from halfsplit.bench import views

            at = replace(session.condition, feed=feed)
            if captured is None:
                return views.wave(session, net, at)
            with tempfile.TemporaryDirectory(prefix="halfsplit-") as folder:
                file = Path(folder) / "capture.csv"
                file.write_bytes(captured[1])
                return views.wave(session, net, at, file)

        self._charted(verb, f"the waveform at {net}", "One period as it should be, and as it is.")

    def _fed(self, feed: str) -> None:
        self.feed = feed
        self._draw()

    def _netted(self, text: str) -> None:
        self.net = text.strip()

    async def _take(self, name: str, data: bytes) -> None:
        kept = await self.view.trying(asyncio.to_thread(let_in, name, data, ("csv",)))
        if kept is not None:
            self.captured = (kept.shown, kept.data)
            self._draw()

    def _leave_out(self) -> None:
        self.captured = None
        self._draw()

    def _of_rail(self, kind: str) -> None:
        if not self.rail:
            Tag("p", "The file names no rail.", "quiet-words")
            return
        names = [(n, n) for n in self.known["rails"]]
        Choice(names, self.rail, self._railed, label="Rail", key="rail")
        rail = self.rail

        def verb(session: Session) -> Any:
            from halfsplit.bench import views

            curve = views.load_curve if kind == "load" else views.limit_curve
            return curve(session, rail)

        what = {
            "load": (f"{rail} at every load", "The rail at every load of the file."),
            "limit": (f"where {rail} limits", "Where the current limit bends."),
        }[kind]
        self._charted(verb, *what)

    def _railed(self, rail: str) -> None:
        self.rail = rail
        self._draw()

    def _suspicion(self) -> None:
        def verb(session: Session) -> Any:
            from halfsplit.bench import views

            return views.suspicion(session)

        self._charted(verb, "how suspicion moved", "Each entry is the whole sum again.", wait=True)

    def _leans(self) -> None:
        leans_map(self.view)

    def _reform(self) -> None:
        if not self.known["formed"]:
            Tag("p", "No reforming is logged for this machine.", "quiet-words")
        for ref in self.known["formed"]:

            def verb(session: Session, ref: str = ref) -> Any:
                from halfsplit.bench import views

                return views.forming(session, ref)

            self._charted(verb, f"the reforming of {ref}", f"{ref} while it is reformed.")

    def _charted(
        self, verb: Callable[[Session], Any], what: str, about: str, *, wait: bool = False
    ) -> None:
        def drawn(session: Session) -> Drawn | str:
            try:
                return draw_chart(verb(session))
            except HalfsplitError as error:  # why there is none is what the picture says
                return "\n".join(words_of(error))

        self.view.worked(drawn, chart, what=what, about=about, at_once=not wait)


def _bare(noter: Noter, *, around: str, hops: int) -> tuple[str, list[str], list[str]]:
    from halfsplit.pictures.choice import neighbourhood
    from halfsplit.pictures.circuit import circuit_svg

    choice = neighbourhood(noter.assembly, around, hops)
    return circuit_svg(choice), *_in(choice)


def _noted(session: Session, *, around: str, hops: int) -> tuple[str, list[str], list[str]]:
    from halfsplit.bench import views

    choice, made = views.circuit(session, around, hops, notes=True)
    return made, *_in(choice)


def _in(choice: Any) -> tuple[list[str], list[str]]:
    """Parts and nets drawn, common left out: it leads everywhere."""
    parts = list(dict.fromkeys(u.part.ref for u in choice.units))
    nets = sorted({n for u in choice.units for n in u.nets.values()} - {choice.assembly.common})
    return parts, nets
