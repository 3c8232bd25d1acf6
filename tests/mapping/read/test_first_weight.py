"""A birth weight that is on record as a body weight of the first day: a loss may not be passed over for it."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import LOINC, concept, encounter, observation, patient, quantity, visit_bundle
from support.read_samples import bundle as bundle_of

from layette.engine import Assessment, load_pack
from layette.mapping.answering import answer

HOUR, NIGHT, NEXT = "2026-11-20T09:15:00-06:00", "2026-11-21T08:30:00-06:00", "2026-11-21T08:31:00-06:00"


def weighed(value: str, time: str | None = None, code: str = "29463-7", **more: Any) -> dict[str, Any]:
    apart = {"encounter": None, "effectiveDateTime": time, "id": f"w{value}"} if time else {}
    return observation(concept(LOINC, code), valueQuantity=quantity(value, "kg"), **(apart | more))


def assessed(*resources: dict[str, Any], baby: dict[str, Any] | None = None) -> Assessment:
    given = bundle_of(baby, encounter(), *resources) if baby else visit_bundle(*resources)
    found = answer(given, load_pack(), readers=["native"])
    found.to_fhir(load_pack())
    return found.assessment


def is_seen(found: Assessment) -> bool:
    return "hydration_assessment" in {one.target for one in found.recommendations if one.priority == "asap"}


@pytest.mark.parametrize(("time", "counts"), [(HOUR, True), ("2026-11-20", True), (NIGHT, True), (NEXT, False)])
def test_a_loss_from_the_weight_of_the_first_day_is_told(time: str, counts: bool) -> None:
    found = assessed(weighed("3.5", time), weighed("3.0"))
    assert is_seen(found) is counts
    told = [one for one in found.notices if "at least the weight of the first day, 3.5 kg" in one]
    assert bool(told) is counts


def test_of_a_day_of_birth_without_an_hour_that_day_counts() -> None:
    day_alone = {key: value for key, value in patient().items() if key != "_birthDate"}
    assert is_seen(assessed(weighed("3.5", "2026-11-20T23:00:00-06:00"), weighed("3.0"), baby=day_alone))
    assert not is_seen(assessed(weighed("3.5", NIGHT), weighed("3.0"), baby=day_alone))


def test_a_birth_weight_on_record_comes_first_and_a_small_loss_is_no_loss_of_note() -> None:
    at_birth = weighed("3.2", "2026-11-20", "8339-4")
    assert not is_seen(assessed(at_birth, weighed("3.5", HOUR), weighed("3.0")))
    assert not is_seen(assessed(weighed("3.2", HOUR), weighed("3.1")))


@pytest.mark.parametrize("status", ["preliminary", "entered-in-error"])
def test_what_is_not_settled_is_no_birth_weight(status: str) -> None:
    assert not is_seen(assessed(weighed("3.5", HOUR, status=status), weighed("3.0")))


def test_the_earlier_of_two_counts() -> None:
    found = assessed(weighed("3.4", NIGHT), weighed("3.5", HOUR), weighed("3.0"))
    assert any("3.5 kg" in one for one in found.notices)
