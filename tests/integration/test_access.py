"""What an integrator asks of the output, in FHIRPath, by an implementation that is not ours."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from fhirpathpy import evaluate
from integration import visits
from support.shipped_examples import NAMES

REQUESTS = "Bundle.entry.resource.ofType(ServiceRequest).where(doNotPerform.empty())"
REFERRALS = f"{REQUESTS}.where(category.coding.where(code = 'referral').exists() and priority != 'routine')"
URGENT = f"{REFERRALS}.select(priority & ': ' & code.text & ': ' & reasonCode.text.first())"
THIS_WEEK = f"{REQUESTS}.where(occurrencePeriod.end <= @{{until}}).select(code.text)"


@pytest.fixture(params=NAMES, name="name")
def _name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def answer(name: str) -> Any:
    return visits.plain(visits.posted(name))


def test_all_urgent_referrals_with_their_reasons(name: str) -> None:
    wanted = [
        f"{one.priority}: {one.label}: {one.reasons[0].because}"
        for one in visits.assessed(visits.taken_example(name)).recommendations
        if one.category == "referral" and one.priority != "routine"
    ]
    assert evaluate(answer(name), URGENT) == wanted


def test_an_urgent_referral_names_what_it_rests_on_its_rule_and_its_caution(name: str) -> None:
    for request in evaluate(answer(name), REFERRALS):
        assert evaluate(request, "reasonReference.exists() or supportingInfo.exists()") == [True]
        assert evaluate(request, "instantiatesCanonical.exists() and note.exists()") == [True]


def test_everything_that_is_due_this_week(name: str) -> None:
    found = visits.assessed(visits.taken_example(name))
    until = datetime.fromisoformat(found.at) + timedelta(days=7)
    wanted = [
        one.label
        for one in found.recommendations
        if one.window.until and datetime.fromisoformat(one.window.until) <= until
    ]
    assert sorted(evaluate(answer(name), THIS_WEEK.format(until=until.isoformat()))) == sorted(wanted)


def test_what_is_in_each_answer_is_what_the_baby_needs() -> None:
    assert evaluate(answer("red-reflex-hip-testis-day-6"), URGENT)[0] == (
        "stat: Ophthalmologist: An abnormal glow can be a cataract or a tumor of the retina, "
        "and weeks of blocked sight cannot be made up."
    )
