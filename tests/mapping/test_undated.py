"""An error about the birth or the moment of a visit hides no emergency that is one at every age."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import AT, LOINC, bundle, concept, encounter, observation, own, patient, quantity

from layette.engine import InputError, load_pack
from layette.mapping.answering import answer
from layette.mapping.undated import urgent_at_any_age

HOT = observation(own("temperature"), valueQuantity=quantity("38.9", "Cel"))
YELLOW = observation(concept(LOINC, "1975-2"), valueQuantity=quantity("16", "mg/dL"))


def urgent(baby: dict[str, Any], visit: dict[str, Any], *sent: dict[str, Any]) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        answer(bundle(baby, visit, *sent), load_pack(), readers=["native"])
    return caught.value.urgent


def born(day: str | None) -> dict[str, Any]:
    return {key: value for key, value in (patient() | {"birthDate": day, "_birthDate": None}).items() if value}


@pytest.mark.parametrize("day", ["2026-11", "2026", None])
def test_a_birth_date_that_cannot_be_used_hides_no_fever(day: str | None) -> None:
    (line,) = urgent(born(day), encounter(), HOT)
    assert line.startswith("Emergency department")


def test_what_hangs_on_the_age_is_told_for_no_age() -> None:
    assert urgent(born("2026-11"), encounter(), YELLOW) == ()


def test_a_moment_that_cannot_be_used_hides_no_emergency() -> None:
    ends_early = encounter(period={"start": AT, "end": "2026-11-24T09:00:00-06:00"})
    (line,) = urgent(patient(), ends_early, HOT)
    assert line.startswith("Emergency department")


def test_without_any_time_or_finding_there_is_nothing_to_tell() -> None:
    assert urgent_at_any_age({"findings": {}}, load_pack()) == ()
    assert (
        urgent_at_any_age({"findings": {"temperature": [{"value": 39, "unit": "Cel", "time": "soon"}]}}, load_pack())
        == ()
    )
    assert urgent_at_any_age({"at": AT, "findings": {}}, load_pack()) == ()
