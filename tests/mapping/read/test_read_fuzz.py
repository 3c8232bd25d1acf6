"""Whatever comes in, reading ends with a result that adds up, and with nothing worse than an `InputError`."""

from __future__ import annotations

import copy
import json
import random
from typing import Any

import pytest
from hypothesis import given, settings
from support.random_json import or_one_of, random_json, random_leaf, random_text
from support.read_samples import (
    SNOMED,
    adds_up,
    concept,
    loinc,
    newborn_pack,
    observation,
    own,
    pack,
    quantity,
    resource,
    visit_bundle,
)
from support.seeds import EACH, seeds, several

from layette.engine.errors import INPUT_CODES, InputError
from layette.mapping.read import index_of, read

WORDS = (
    "Bundle",
    "Patient",
    "Observation",
    "Condition",
    "collection",
    "kg",
    "2026-11-24",
    "2026",
    "Patient/mara",
    "#p",
    "final",
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-14:00",
    "http://loinc.org",
    "29463-7",
    "",
    "left",
)
KEYS = (
    "resourceType",
    "type",
    "entry",
    "resource",
    "id",
    "code",
    "coding",
    "system",
    "subject",
    "reference",
    "valueQuantity",
    "value",
    "unit",
    "status",
    "birthDate",
    "extension",
    "contained",
    "component",
    "period",
    "start",
    "effectiveDateTime",
)
LEAF = or_one_of(WORDS, random_leaf)
KEY = or_one_of(KEYS, random_text, often=0.6)


def some_json(rng: random.Random) -> Any:
    return random_json(rng, LEAF, KEY, most=5)


RICH = visit_bundle(
    observation(loinc("29463-7"), id="a", valueQuantity=quantity("3.150", "kg")),
    observation(own("red-reflex"), id="b", bodySite=concept(SNOMED, "7771000"), valueCodeableConcept=own("white")),
    observation(
        {"text": "panel"}, id="c", component=[{"code": loinc("8867-4"), "valueQuantity": quantity("140", "/min")}]
    ),
    observation(loinc("29463-7"), id="d", valueRange={"low": quantity("3", "kg"), "high": quantity("4", "kg")}),
    resource(
        "Condition", code=concept(SNOMED, "88610006"), recordedDate="2026-11-24", clinicalStatus=concept("x", "active")
    ),
    resource(
        "ServiceRequest", status="active", code=concept(SNOMED, "308479007"), identifier=[{"system": "x", "value": "y"}]
    ),
    resource("Communication", status="completed", topic=concept("x", "y"), sent="2026-11-24"),
    resource("Immunization", status="completed", patient={"reference": "Patient/mara"}, vaccineCode={"text": "x"}),
    resource(
        "List", status="current", mode="snapshot", entry=[{"item": {"reference": "ServiceRequest/servicerequest"}}]
    ),
    resource("RelatedPerson", patient={"reference": "Patient/mara"}, relationship=[{"text": "mother"}]),
)


def check(given: Any) -> None:
    result = read(given, pack())
    adds_up(result)
    assert {problem.code for problem in result.problems} <= set(INPUT_CODES)
    json.dumps(result.visit)
    if result.problems:
        with pytest.raises(InputError):
            result.require()


@settings(max_examples=1000 // EACH, deadline=None)
@given(seeds)
def test_any_json(seed: int) -> None:
    for rng in several(seed):
        check(some_json(rng))


KINDS = ("Observation", "Patient", "Encounter", "Condition", "Immunization", "List", "ServiceRequest")


@settings(max_examples=400 // EACH, deadline=None)
@given(seeds)
def test_any_resource_beside_a_good_visit(seed: int) -> None:
    for rng in several(seed):
        made = some_json(rng)
        broken = made if isinstance(made, dict) else {"code": made}
        bundle = copy.deepcopy(RICH)
        bundle["entry"].append({"resource": {**broken, "resourceType": rng.choice(KINDS)}})
        check(bundle)


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(deeper for key, child in inner for deeper in places(child, (*path, key)))]


@settings(max_examples=700 // EACH, deadline=None)
@given(seeds)
def test_a_changed_bundle(seed: int) -> None:
    for rng in several(seed):
        bundle = copy.deepcopy(RICH)
        for _ in range(rng.randint(1, 4)):
            change(bundle, rng)
        check(bundle)


def change(bundle: Any, rng: random.Random) -> None:
    """Put something else in a place, or take away what is there."""
    *way, last = rng.choice([place for place in places(bundle) if place] or [("type",)])
    holder: Any = bundle
    for key in way:
        holder = holder[key]
    if rng.random() < 0.25:
        holder.pop(last, None) if isinstance(holder, dict) else holder.pop(last)
    else:
        holder[last] = some_json(rng)


def test_the_same_input_gives_the_same_visit() -> None:
    assert read(RICH, pack()).visit == read(copy.deepcopy(RICH), pack()).visit
    assert index_of(pack()) is index_of(pack())


def resources_of(bundle: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [entry["resource"] for entry in bundle["entry"] if entry["resource"]["resourceType"] == kind]


def sixty() -> dict[str, Any]:
    """A visit of sixty Observations over the pack that ships: numbers and coded values, as a record sends them."""
    found = []
    for number, (name, shape) in enumerate(list(newborn_pack().findings.items()) * 2):
        value = (
            {"valueQuantity": quantity(str(shape.number.plausible[0]), shape.number.unit)}
            if shape.number
            else {"valueCodeableConcept": own(f"{name}.{shape.values[0]}")}
        )
        if shape.subject == "baby" and not shape.readings and len(found) < 60:
            found.append(observation(own(name), id=f"o{number}", bodySite=concept(SNOMED, "7771000"), **value))
    return visit_bundle(*found)


def test_sixty_observations_are_all_read() -> None:
    bundle = sixty()
    result = read(bundle, newborn_pack()).require()
    adds_up(result)
    assert result.counts.used == 62
    origins = [one["origin"] for readings in result.visit["findings"].values() for one in readings]
    assert sorted(origins) == sorted(f"Observation/{one['id']}" for one in resources_of(bundle, "Observation"))
    assert len(origins) == 60
