"""Where nets, parts and points are on the pictures of a machine, shown and told by hand."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from nicegui import ui

from halfsplit.web.html import Choice, Tag, button, field, rows
from halfsplit.web.pieces.sight import Mark, marks, scripts, sight
from halfsplit.web.pinboard import Pinboard, pinboard
from halfsplit.web.registry import machine_page
from halfsplit.web.sending import file_field
from halfsplit.web.view import View, plain

if TYPE_CHECKING:
    from halfsplit.bench.noting import Noter
    from halfsplit.bench.pins_file import Pin
    from halfsplit.bench.session import Session

TAKEN = "image/jpeg,image/png,image/webp,image/tiff"
KINDS = (("net", "Net"), ("part", "Part"), ("point", "Test point"))
Values = dict[str, tuple[str, str]]  # net -> expected, read


@machine_page("pins", "Pins", order=50)
async def pins(view: View) -> None:
    """Where every net, part and point is on scans and photos."""
    board = pinboard(view.place)
    await view.trying(board.look())
    names = await view.place.look(_names)
    asked = ui.context.client.request.query_params.get("show", "")
    scripts()
    Tag("h1", "Pins")
    PinsPage(view, board, names, asked)


def _names(noter: Noter) -> dict[str, dict[str, str]]:
    """What can be pinned, by kind: name and where it is in words."""
    at = noter.assembly
    nets = {k: r.note or f"rail, net {r.net}" for k, r in at.rails.items()}
    nets |= {n: at.net_label(n) for n in [*at.nets(), at.common] if n not in nets}
    parts = {ref: part.label() for ref, part in at.parts.items()}
    return {"net": nets, "part": parts, "point": {k: p.at or p.net for k, p in at.points.items()}}


class PinsPage:
    """One device's look at the pictures: which one, and what a tap pins."""

    def __init__(
        self, view: View, board: Pinboard, names: dict[str, dict[str, str]], asked: str
    ) -> None:
        self.view, self.board, self.names = view, board, names
        self.leads = {p["ref"]: p["leads"] for p in view.facts["parts"]}
        self.kind, self.name, self.lead = "net", "", ""
        self.spot: tuple[float, float] | None = None
        self.values: Values = {}
        self.said = ""
        self.start: tuple[float, float] | None = None
        self.picture = ""
        self._find(asked)
        self._draw()

    def _find(self, asked: str) -> None:
        """Begin at what the address asks for, where that was pinned."""
        held = self.board.pins
        own = [(p.picture, p.x, p.y) for p in (held.pins if held else ()) if p.name == asked]
        near = [(s.picture, s.x, s.y) for s in self.board.of_name(asked)]
        for picture, x, y in [*own, *near][:1]:
            self.picture, self.start = picture, (x, y)
            return
        if asked:
            self.said = f"{asked} is not pinned yet: find it and tap on it."
            self.name = asked
            self.kind = next((k for k, known in self.names.items() if asked in known), "net")

    # -- drawing -----------------------------------------------------------------------------------

    def _draw(self) -> None:
        view = self.view
        view.live(lambda: [plain_here(p) for p in self.board.problems], self._draw_problems)
        with Tag("div", "", "columns"):
            with Tag("div", "", "first"):
                self.stage = view.live(self._pictures, self._draw_stage, "section", "box")
                if first := not self._pictures():
                    self._draw_sending()
            with Tag("div", "", "second"):
                with Tag("section", "", "box"):
                    Tag("h2", "What to pin")
                    self._draw_form()
                view.live(self._listed, self._draw_list, "section", "box")
                if not first:
                    self._draw_sending()

    def _draw_sending(self) -> None:
        with Tag("section", "", "box"):
            Tag("h2", "More pictures" if self._pictures() else "Send a picture")
            label = "Scans of drawings, photos of boards"
            file_field(self.view, label, TAKEN, self.take, key="photo").mark("photo")
            kinds = "JPEG, PNG, WebP or TIFF up to 40 MB, photos of a phone too: they are turned"
            Tag("p", f"{kinds} the right way up.", "quiet-words")

    def _draw_problems(self, told: list[str]) -> None:
        if told:
            with Tag("section", "", "box"):
                Tag("h2", "In the file of pins")
                rows(told, "trouble")
                Tag("p", "What cannot be used is left out here; the rest works.", "quiet-words")

    def _pictures(self) -> list[tuple[str, str, str, int, int]]:
        held = self.board.pins
        found = held.pictures if held else {}
        return [(n, p.title or n, p.file, p.width, p.height) for n, p in found.items()]

    def _draw_stage(self, pictures: list[tuple[str, str, str, int, int]]) -> None:
        if not pictures:
            Tag("h2", "No picture yet")
            Tag(
                "p",
                "Send a scan of the drawing or a photo of the board, then tap on what is where: "
                "from then on every check shows where to put the probe.",
            )
            return
        if self.picture not in [n for n, *_ in pictures]:
            self.picture, self.start = pictures[0][0], None
        name, title, _, wide, high = next(p for p in pictures if p[0] == self.picture)
        if len(pictures) > 1:
            Choice([(n, t) for n, t, *_ in pictures], name, self._turn, label="Picture", key="of")
        source = partial(self.board.source, name)
        self.spots = sight(
            source(whole=False), source(whole=True), (wide, high), title, self.point, self.start
        )
        with self.spots:
            self.view.live(lambda: self._marks(), marks)
        with Tag("div", "", "form"):
            button("Write in what each should read", self.write_in, data_key="write-in")
            button(f"Take away {title}", partial(self._ask_away, name, title), data_key="away")

    def _marks(self) -> list[Mark]:
        held, common = self.board.pins, self.view.facts["common"]
        found = []
        for pin in held.on(self.picture) if held else ():
            net = self.board.net_at(pin)
            probe = "look" if net is None else "black" if net == common else "red"
            words = [_words(pin)]
            if net in self.values:
                expected, read = self.values[net]
                words += [f"should {expected}"] if expected else []
                words += [f"read {read}"] if read else []
            found.append(Mark(pin.x, pin.y, tuple(words), probe))
        if self.spot is not None:
            found.append(Mark(*self.spot, ("what is here?",), "here"))
        return found

    def _draw_form(self) -> None:
        self.kinds = Choice(KINDS, self.kind, self._kind, label="What to pin", key="kind")
        with Tag("div", "", "form"):
            self.name_field = field("Its name", self.name, self._named, data_key="name")
            self.name_field.props["data-list"] = f"names-{self.kind}"
            self.name_field.mark("name")
            self.lead_field = field("Lead, if one lead of a part", "", self._led, data_key="lead")
            self.lead_field.props["data-list"] = "leads"
            self.lead_field.mark("lead")
            for made in (self.name_field, self.lead_field):
                made.on("keydown.enter", self.put, args=[])
        for kind, known in self.names.items():
            with Tag("datalist", id=f"names-{kind}"):
                for name, where in known.items():
                    Tag("option", where, value=name)
        self.lead_list = Tag("datalist", id="leads")
        self.told = Tag("p", self.said or self._advice(), "note", role="status").mark("told")

    def _advice(self) -> str:
        return "Write a name and tap on the picture; or tap first, then write the name and Enter."

    def _listed(self) -> tuple[str, list[Pin]]:
        held = self.board.pins
        return self.picture, held.on(self.picture) if held else []

    def _draw_list(self, listed: tuple[str, list[Pin]]) -> None:
        _, found = listed
        Tag("h2", f"On this picture: {len(found) or 'nothing pinned'}")
        with Tag("ul", "", "pin-list"):
            for pin in found:
                words = _words(pin)
                with Tag("li"):
                    Tag("span", f"{pin.what} {words}", "what-is")
                    Tag(
                        "button",
                        "Show",
                        type="button",
                        data_goto=f"{pin.x},{pin.y}",
                        aria_label=f"Show {words}",
                    )
                    button(
                        "Remove",
                        partial(self.remove, pin),
                        "danger",
                        aria_label=f"Remove {words}",
                        data_key=f"remove-{words}",
                    )

    # -- what is typed and tapped ------------------------------------------------------------------

    def _kind(self, kind: str) -> None:
        self.kind = kind
        self.kinds.show(kind)
        self.name_field.props["data-list"] = f"names-{kind}"
        self.name_field.update()

    def _named(self, text: str) -> None:
        self.name = text.strip()
        leads = self.leads.get(self._known("part", self.name) or "", [])
        self.lead_list.clear()
        with self.lead_list:
            for lead in leads:
                Tag("option", "", value=lead)

    def _led(self, text: str) -> None:
        self.lead = text.strip()

    def _known(self, kind: str, name: str) -> str | None:
        known = self.names[kind]
        if name in known:
            return name
        return next((k for k in known if k.lower() == name.lower()), None)

    async def point(self, x: float, y: float) -> None:
        """A place was tapped: pin what is named, or keep the place until a name is written."""
        self.spot = (x, y)
        if self.name:
            await self.put()
        else:
            self._tell("That place: what is it? Write its name, then Enter.")
            self.view.place.changed.emit()

    async def put(self) -> None:
        """Pin what is named at the place tapped last."""
        from halfsplit.bench.pinning import put_pin

        if self.spot is None or not self.picture or not self.name:
            self._tell(self._advice())
            return
        kinds = [self.kind, *(k for k, _ in KINDS if k != self.kind)]
        kind = next((k for k in kinds if self._known(k, self.name)), self.kind)
        what: dict[str, Any] = {kind: self._known(kind, self.name) or self.name}
        if self.lead:
            what["terminal"] = self.lead
        pin = await self.view.trying(self.board.do(put_pin, self.picture, *self.spot, **what))
        if pin is None:
            return
        self.spot, self.name, self.lead = None, "", ""
        self.name_field.value = self.lead_field.value = ""
        self._tell(f"Pinned: {pin.what} {_words(pin)}. Write the next name.")
        self.view.place.changed.emit()

    async def remove(self, pin: Pin) -> None:
        """Take a pin out."""
        from halfsplit.bench.pinning import remove_pin

        await self.view.trying(self.board.do(remove_pin, pin))
        self._tell(f"{_words(pin)} is not pinned there any more.")

    async def take(self, name: str, data: bytes) -> None:
        """A file was sent: keep it, or say what is wrong with it."""
        from halfsplit.bench.pinning import add_picture

        self._tell(f"{name} is being looked at …")
        added = await self.view.trying(self.board.do(add_picture, data, name.rpartition(".")[0]))
        if added is None:
            self._tell(f"{name} was not taken; see above why.")
            return
        self.picture, self.start, self.spot = added[0], None, None
        self._tell(f"{name} is here. Write a name and tap on the picture.")
        self._redraw()

    async def write_in(self) -> None:
        """Write what each pinned net should read, and what was read, on the picture."""
        nets = self.board.nets()

        def verb(session: Session) -> Values:
            from halfsplit.bench.views import actual_text, expected_text

            expected, actual = expected_text(session, nets), actual_text(session)
            return {n: (expected.get(n, ""), actual.get(n, "")) for n in nets}

        what = "what each pinned net should read"
        found = await self.view.trying(self.view.place.ask(verb, what))
        if found is None:
            return
        self.values = found
        now = self.view.ledger["condition_words"]
        if any(expected for expected, _ in found.values()):
            self._tell(f"Written in: {now}, with nothing wrong. Working it out again refreshes it.")
        else:
            self._tell(f"Nothing to write in: {now}.")
        self.view.place.changed.emit()

    def _ask_away(self, name: str, title: str) -> None:
        count = len(self.board.pins.on(name)) if self.board.pins else 0

        def yes() -> None:
            button("Yes, take it away", partial(self._away, name), "danger", data_key="yes-away")

        self.view.alert([f"{title} and {count} pins on it would be taken out of the file."], yes)

    async def _away(self, name: str) -> None:
        from halfsplit.bench.pinning import remove_picture

        await self.view.trying(self.board.do(remove_picture, name))
        self.spot = None

    def _turn(self, name: str) -> None:
        self.picture, self.start, self.spot = name, None, None
        self._redraw()

    def _redraw(self) -> None:
        if self.stage.is_deleted:
            return
        self.stage.clear()
        with self.stage:
            self._draw_stage(self._pictures())
        self.view.place.changed.emit()

    def _tell(self, words: str) -> None:
        if not self.told.is_deleted:
            self.told.text = words


def plain_here(problem: Any) -> str:
    """A problem with the line of the file it is in."""
    return f"line {problem.line}: {plain(problem)}" if problem.line else plain(problem)


def _words(pin: Pin) -> str:
    return f"{pin.name} {pin.terminal}" if pin.terminal else pin.name
