"""The plan and its fellows as pages: walked, refused by the bench, passed by a typed reason.

The plan of these tests is a short one put into the journal, so that nothing has to be worked out
for minutes; how a whole one is made is tested in `tests/cli/test_energy.py`.
"""

from __future__ import annotations

from typing import Any

import pytest
from nicegui import ui
from nicegui.testing import User

from halfsplit.assembly.condition import Condition
from halfsplit.bench import planning
from halfsplit.journal import Journal, glance, journal_path
from halfsplit.problems import ProblemsError
from halfsplit.web.pieces.said import for_page
from tests.web.conftest import App, until

PLAN = "/plan/pt3.yaml"


def step(key: str, title: str, do: str, **more: Any) -> dict[str, Any]:
    bare = {"points": [], "condition": None, "amps": 0.0, "seconds": 0.0, "celsius": 0.0}
    return {"key": key, "title": title, "do": do, "before": [], "needs": [], **bare, **more}


STEPS = [
    step("fuses", "Fuses to drawing", "read every fuse against the drawing: F1 2.0 A T"),
    step("ohms", "Rails to common, dead", "ohms from P5 to common", before=["C1 may hold 4.2 J"]),
    step(
        "raws-none",
        "Fed by raws, load none",
        "fed by raws, load none",
        needs=["ohms"],
        condition=Condition("raws", "none").as_dict(),
        points=[{"net": "p5", "label": "P5", "expected": 5.0, "low": 4.75, "high": 5.25}],
        amps=0.3,
        celsius=60.0,
        seconds=60.0,
    ),
    step("boards", "Boards", "halfsplit gate FILE shows what still refuses them", needs=["gate"]),
]


@pytest.fixture
def planned(app: App) -> App:
    """The app with a plan in the machine's journal."""
    with Journal.open(journal_path(app.file)) as journal:
        journal.append("plan", {"steps": STEPS, "unsolved": []})
    return app


def entries(app: App, kind: str) -> list[dict[str, Any]]:
    with glance(journal_path(app.file)) as journal:
        return [dict(e.body) for e in journal.entries() if e.kind == kind]


def typed(app: App, mark: str, text: str) -> None:
    (found,) = app.user.find(marker=mark).elements
    found.value = text  # type: ignore[attr-defined]


def options(user: User) -> list[str]:
    """Words on the page that only a command line understands."""
    said = [str(getattr(e, "text", "")) for e in user.find(ui.element).elements]
    return [words for words in said if "`" in words or " --" in words or " FILE" in words]


async def test_the_plan_is_walked_and_taken_up_again(planned: App) -> None:
    user = planned.user
    await user.open(PLAN)
    await user.should_see("Step 1 of 4, 0 done", retries=600)
    user.find(marker="next-step").click()
    await user.should_see("Step 2 of 4", retries=50)
    await user.should_see("C1 may hold 4.2 J")
    typed(planned, "step-note", "8 ohm both ways")
    user.find(marker="step-done").click()
    await until(lambda: entries(planned, "step") == [{"step": "ohms", "note": "8 ohm both ways"}])
    await user.should_see("Noted: 8 ohm both ways", retries=300)
    # Somebody else, or the same person tomorrow, is shown the same step with what was noted.
    await user.open(PLAN)
    await user.should_see("Step 2 of 4, 1 done", retries=600)
    await user.should_see("Noted: 8 ohm both ways")


async def test_a_step_too_early_is_refused_and_passed_by_a_reason_only(planned: App) -> None:
    user = planned.user
    await user.open(PLAN)
    await user.should_see(marker="step-raws-none", retries=600)
    user.find(marker="step-raws-none").click()
    await user.should_see("Step 3 of 4", retries=50)
    user.find(marker="begin").click()
    await user.should_see("“Rails to common, dead” comes first and is not done", retries=300)
    await user.should_see("F1 not looked at")
    assert entries(planned, "condition") == []
    typed(planned, "why-anyway", "short")
    user.find(marker="do-anyway").click()
    await user.should_see("An override needs its reason", retries=300)
    assert entries(planned, "override") == []
    typed(planned, "why-anyway", "fuses read yesterday, on paper")
    user.find(marker="do-anyway").click()
    await until(lambda: len(entries(planned, "condition")) == 1)
    assert entries(planned, "override") == [
        {"gate": "plan (step raws-none)", "why": "fuses read yesterday, on paper"}
    ]
    # The reading ticks the step; one beyond its limits stops.
    await user.should_see(marker="point-P5", retries=300)
    typed(planned, "point-P5", "6.9")
    user.find(marker="point-P5").trigger("keydown.enter")
    await user.should_see("STOP: a reading is beyond its limits", retries=1800)
    assert [(r["net"], r["text"]) for r in entries(planned, "read")] == [("p5", "6.9")]


async def test_the_bench_refuses_whoever_asks(planned: App) -> None:
    """No page has a say in it: the same verb, given to the desk as a client would."""
    await planned.user.open(PLAN)
    (place,) = planned.house._places.values()
    for verb in (
        lambda s: planning.begin(s, "raws-none"),
        lambda s: planning.tick(s, "boards", "all went in"),
        lambda s: planning.begin(s, "raws-none", "  "),
    ):
        with pytest.raises(ProblemsError):
            await place.ask(verb, "an early step")
    with pytest.raises(ProblemsError, match="not to be turned yet"):
        await place.change(_trimmer(place))
    assert entries(planned, "condition") == entries(planned, "step") == []
    assert entries(planned, "override") == []


def _trimmer(place: Any) -> str:
    ref = next(p["ref"] for p in place.desk.facts["parts"] if p["kind"] == "potentiometer")
    return f"{ref} set 60%"


async def test_gates_say_what_lifts_them_and_are_passed_by_a_reason(planned: App) -> None:
    user = planned.user
    await user.open("/gates/pt3.yaml")
    await user.should_see("refused by references", retries=900)
    await user.should_see("P5: no over-voltage trip measured")
    assert options(user) == []
    user.find(marker="pass-fuses to drawing").click()
    await user.should_see("an override needs its reason", retries=300)
    typed(planned, "why-fuses to drawing", "bench fuses throughout")
    user.find(marker="pass-fuses to drawing").click()
    await user.should_see("Passed all the same: bench fuses throughout", retries=300)
    assert entries(planned, "override")[0]["gate"] == "fuses to drawing"


async def test_a_charge_measured_is_stored_and_a_bad_one_stays_in_its_field(planned: App) -> None:
    user = planned.user
    await user.open("/discharge/pt3.yaml")
    await user.should_see(marker="discharge-C1-volts", retries=900)
    typed(planned, "discharge-C1-volts", "banana")
    user.find(marker="discharge-C1-volts").trigger("keydown.enter")
    await user.should_see("banana", retries=300)
    assert entries(planned, "discharge") == []
    typed(planned, "discharge-C1-volts", "0.3V")
    user.find(marker="discharge-C1-volts").trigger("keydown.enter")
    await until(lambda: [e["part"] for e in entries(planned, "discharge")] == ["C1"])


async def test_reforming_asks_for_a_rule_and_keeps_its_log(planned: App) -> None:
    user = planned.user
    await user.open("/reform/pt3.yaml")
    user.find(marker="reform-rule-four-hours").click()
    user.find(marker="reform-part-C1").click()
    user.find(marker="reform-show").click()
    await user.should_see(marker="reform-why", retries=900)
    typed(planned, "reformed-C1-volts", "3.9V")
    typed(planned, "reformed-C1-amps", "400uA")
    user.find(marker="reformed").click()
    await user.should_see("Log: 1 reading", retries=600)
    body = entries(planned, "reform")[0]
    assert (body["part"], body["volts"], body["rule"]) == ("C1", 3.9, "four-hours")


async def test_a_label_is_made_and_served_under_its_own_policy(planned: App) -> None:
    user = planned.user
    await user.open("/report/pt3.yaml")
    user.find(marker="make-label").click()
    await user.should_see(marker="label-html", retries=900)
    (link,) = user.find(marker="label-html").elements
    served = await user.http_client.get(link.props["href"])
    assert served.status_code == 200 and "Power tray PT-3" in served.text
    policy = served.headers["content-security-policy"]
    assert "default-src 'none'" in policy and "script-src" not in policy and "sandbox" in policy
    (pdf,) = user.find(marker="label-pdf").elements
    saved = await user.http_client.get(pdf.props["href"])
    assert saved.content.startswith(b"%PDF-")
    assert saved.headers["content-disposition"].startswith("attachment")
    assert (await user.http_client.get("/files/print/guessed/label.html")).status_code == 404


@pytest.mark.parametrize(
    ("said", "told"),
    [
        (
            "the trip of P5: `protect FILE P5 --trip 6.2V`",
            "the trip of P5: on the page “Protection”",
        ),
        (
            "each entered: `halfsplit observe FILE --part F1 --sign as-drawn`, or one fitted",
            "each entered: on the page “Bench”, under “Seen, heard, smelt”, or one fitted",
        ),
        ("dead ohms of P5: `BP.P5=<ohms>`", "dead ohms of P5: in its field here"),
        ("C1 reads 4 V", "C1 reads 4 V"),
    ],
)
def test_in_place_of_a_command_stands_the_page_that_does_it(said: str, told: str) -> None:
    assert for_page(said) == told
