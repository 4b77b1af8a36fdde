"""Gates: what is refused, why, the proof that lifts it; and passing one all the same."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from halfsplit.web.html import Tag, button, field, rows
from halfsplit.web.pieces.said import for_page
from halfsplit.web.pieces.working import Worked
from halfsplit.web.registry import machine_page
from halfsplit.web.view import View

if TYPE_CHECKING:
    from halfsplit.bench.session import Session

SUBJECTS = {"power": "Power", "boards": "Boards", "trimmers": "Trimmers"}
STATE = {"open": "open", "overridden": "passed all the same", "refused": "refused"}


def _gates(session: Session) -> dict[str, Any]:
    from halfsplit.bench.gating import gate_dict

    return gate_dict(session)


@machine_page("gates", "Gates", order=90, under="plan")
async def gates(view: View) -> None:
    """What is refused until something is proved, and the proof that lifts it."""
    Tag("h1", "What is refused, and what lifts it")
    shown: Worked[dict[str, Any]] = Worked(
        view,
        lambda: view.place.ask(_gates, "what is refused"),
        lambda data: _draw(view, shown, data),
        about="Holding the journal against what leans on what …",
        at_once=not view.facts["slow"],
    )


def _draw(view: View, shown: Worked[dict[str, Any]], data: dict[str, Any]) -> None:
    with Tag("section", "", "box"), Tag("dl", "", "limits"):
        for subject, names in data["refused"].items():
            with Tag("div"):
                Tag("dt", SUBJECTS[subject])
                words = f"refused by {', '.join(names)}" if names else "no gate in the way"
                Tag("dd", words, "trouble" if names else "good")
    for gate in data["gates"]:
        with Tag("section", "", f"box gate {gate['state']}"):
            with Tag("div", "", "line"):
                Tag("h2", gate["name"])
                Tag("span", STATE[gate["state"]], f"state {gate['state']}")
            Tag("p", f"before {', '.join(gate['subjects'])}", "quiet-words")
            rows([why.removeprefix("not yet: ") for why in gate["refused"]], "reasons")
            if gate["refused"]:
                Tag("p", f"Lifted by: {for_page(gate['proof'])}", "note")
            if gate["override"]:
                Tag("p", f"Passed all the same: {gate['override']}", "hazard")
            if gate["state"] == "refused":
                _override(view, shown, gate["name"])


def _override(view: View, shown: Worked[dict[str, Any]], name: str) -> None:
    with Tag("details", data_key=f"override-{name}"):
        Tag("summary", "Pass it all the same")
        with Tag("div", "", "form"):
            why = field("Reason, for whoever comes after you", "", lambda _: None)
            why.mark(f"why-{name}")

            def verb(text: str, session: Session) -> dict[str, Any]:
                from halfsplit.bench import gating

                gating.override(session, name, text)
                return gating.gate_dict(session)

            async def go() -> None:
                text = str(why.value or "")
                found = await view.trying(view.place.ask(partial(verb, text), "passing a gate"))
                if found is not None:
                    await shown.of(_given(found))

            button("Pass it", go, "danger", data_key=f"pass-{name}").mark(f"pass-{name}")


async def _given(data: dict[str, Any]) -> dict[str, Any]:
    return data
