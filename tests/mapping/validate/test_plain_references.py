"""What is settled at once of a reference is what the whole check finds: nothing wrong."""

from __future__ import annotations

from itertools import product

import pytest

from layette.mapping.validate import validate
from layette.mapping.validate.rules.references import Holder, plainly_right, reference_issues
from layette.mapping.validate.rules.shapes import shape

HERE, ODD = "urn:uuid:0b5ac4f1-7d65-4f05-8b1a-6c1f2f1c9a11", "urn:uuid:7"
TEXTS = [
    "", " ", "#", "#a", "Patient/1", "Patient/1\n", "Patient/", "patient/1", "Baby/1", "Group/1", "Device/1",
    "Patient/1/_history/2", "Patient/1#part", "Patient/é", "Patient/\x07", "x:Patient/1", "Patient?identifier=a|b",
    "https://example.org/fhir/Patient/1", "https://example.org/other", "mailto:a@example.org", "urn:oid:1.2",
    HERE, HERE.upper(), ODD,
]  # fmt: skip
AROUND = [None, {}, {HERE: "Patient"}, {HERE: "Device", ODD: "Patient"}, {HERE: ""}, {"Patient/1": "Group"}]
SLOTS = [shape("Observation").slots["subject"], shape("Provenance_Entity").slots["what"]]


@pytest.mark.parametrize("slot", SLOTS, ids=["of some types", "of any type"])
def test_a_reference_that_is_settled_at_once_has_no_issue(slot) -> None:
    settled = 0
    for text, urls, more in product(TEXTS, AROUND, [{}, {"display": "Ada"}, {"type": "Device"}]):
        node = {"reference": text, **more}
        if plainly_right(node, slot, urls):
            settled += 1
            assert list(reference_issues(node, slot, (None, "a", -1), Holder({"a": "Patient"}), urls)) == []
    assert settled > 10
    assert not any(plainly_right({"reference": value}, slot, None) for value in (None, 7, [], {}, ["Patient/1"]))


@pytest.mark.parametrize("text", TEXTS)
def test_a_reference_by_itself_is_judged_as_one_with_an_extension(text: str) -> None:
    """The extension sends it the long way; it adds no issue of its own."""
    beside = {"extension": [{"url": "http://example.org/x", "valueString": "a"}]}
    base = {"resourceType": "Observation", "status": "final", "code": {"text": "a"}}
    alone, along = (
        [(one.path, one.key) for one in validate(base | {"subject": {"reference": text, **more}})]
        for more in ({}, beside)
    )
    assert alone == along
