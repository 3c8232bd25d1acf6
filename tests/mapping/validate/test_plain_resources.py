"""Law: what one look calls right is right by the walk, in every sample and in every change of one; and most is so."""

from __future__ import annotations

import copy
import random
from collections.abc import Iterator
from functools import cache
from typing import Any
from unittest import mock

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.checkout import ROOT
from support.shipped_examples import EXPECTED, NAMES, source

from layette.mapping.fhir.json import loads
from layette.mapping.validate import validate
from layette.mapping.validate.plain import plain_resource
from layette.mapping.validate.rules.issue import Issue

DEFECTS = ROOT / "tests/support/defects"
OURS = [*map(source, NAMES), *(loads((EXPECTED / f"{name}.fhir.json").read_bytes()) for name in NAMES)]


@cache
def samples() -> list[dict[str, Any]]:
    """Resources that are right and wrong: the planted defects, all that is inside them, and what stands in examples."""
    kept = [loads((DEFECTS / f"{name}.json").read_bytes()) for name in ("good_cases", "planted_defects", "own_defects")]
    good, *wrong = kept
    whole = [*good.values(), *(case["resource"] for cases in wrong for case in cases.values())]
    inside = [entry["resource"] for bundle in OURS[::2] for entry in bundle["entry"]]
    return [*whole, *inside[::7], *(one for one in inside if "contained" in one)]


def by_the_walk(resource: dict[str, Any]) -> list[Issue]:
    """Return what the walk alone finds."""
    with mock.patch("layette.mapping.validate.walk.plain_resource", return_value=False):
        return validate(resource)


def test_what_is_called_right_is_right_by_the_walk() -> None:
    right = [resource for resource in samples() if plain_resource(resource, None)]
    assert len(right) > len(samples()) / 5
    assert [issue for resource in right for issue in by_the_walk(resource)] == []


@pytest.mark.parametrize("bundle", OURS, ids=[f"{name} {way}" for way in ("in", "out") for name in NAMES])
def test_one_look_is_enough_for_a_visit_and_its_answer(bundle: dict[str, Any]) -> None:
    assert plain_resource(bundle, None)
    assert by_the_walk(bundle) == []


WORDS = ("", " ", "x", "#", "#messages", "#nobody", "a b", "\x07", "Patient/1", "urn:uuid:7", "urn:OID:1", "2026-02-30",
         "LOINC", "kg", "{x}", "final", "1", "<div/>", "Patient")  # fmt: skip
VALUES = st.one_of(
    st.sampled_from(WORDS), st.none(), st.booleans(), st.integers(-1, 2**40),
    st.sampled_from([[], {}, [None], [{}], {"id": "a"}, {"reference": "#messages"}, {"type": "Device"}, ["", "a"]]),
)  # fmt: skip
NAMES_BESIDE = ("_status", "id", "meta", "contained", "extension", "valueString", "type", "reference", "comparator",
                "search", "display", "implicitRules", "url", "effectivePeriod", "_given", "entry")  # fmt: skip


def nodes(value: Any) -> Iterator[dict[str, Any] | list[Any]]:
    """Yield all objects and lists of a resource."""
    if isinstance(value, (dict, list)):
        yield value
        for child in value.values() if isinstance(value, dict) else value:
            yield from nodes(child)


def changed(resource: dict[str, Any], draw: random.Random, value: Any) -> dict[str, Any]:
    """Return a copy with one thing changed: taken away, put in place of another, added, moved or written twice."""
    made = copy.deepcopy(resource)
    everywhere = [node for node in nodes(made) if node]
    node, act = draw.choice(everywhere), draw.randrange(5)
    key: Any = draw.choice(list(node) if isinstance(node, dict) else range(len(node)))
    if act == 0:
        del node[key]
    elif act == 1 and isinstance(node, dict):
        node[draw.choice(NAMES_BESIDE)] = copy.deepcopy(value)
    elif act == 2 and isinstance(node, list):
        node.append(copy.deepcopy(node[key]))
    elif act == 3:
        node[key] = copy.deepcopy(draw.choice(everywhere))
    else:
        node[key] = copy.deepcopy(value)
    return made


@settings(deadline=None, max_examples=600, suppress_health_check=[HealthCheck.too_slow])
@given(st.randoms(use_true_random=False), VALUES, VALUES)
def test_a_change_is_judged_alike_with_and_without_the_look(draw: random.Random, value: Any, more: Any) -> None:
    resource = changed(draw.choice(samples()), draw, value)
    for made in (resource, changed(resource, draw, more)):
        assert validate(made) == by_the_walk(made)


def test_an_empty_list_of_contained_resources_is_not_called_right() -> None:
    empty = {"resourceType": "Observation", "status": "final", "code": {"text": "x"}, "contained": []}
    assert not plain_resource(empty, None)
    assert [one.key for one in validate(empty)] == ["empty"]


def test_a_mistake_in_one_entry_is_found_beside_entries_that_are_right() -> None:
    bundle = copy.deepcopy(OURS[0])
    observation = next(e for e in bundle["entry"] if e["resource"]["resourceType"] == "Observation")["resource"]
    observation["status"] = "done"
    assert [(one.key, one.path.rpartition(".")[2]) for one in validate(bundle)] == [("binding", "status")]
    assert validate(bundle) == by_the_walk(bundle)
