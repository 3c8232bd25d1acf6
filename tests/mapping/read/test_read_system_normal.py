"""A "normal" charted for a whole system, as FHIR: it spreads over what the dictionary lists, and says so."""

from __future__ import annotations

import pytest
from support.read_samples import bundle, encounter, observation, patient

from layette.engine import Assessment, Pack, load_pack
from layette.mapping.codes import OWN, OWN_BASE
from layette.mapping.read import read


@pytest.fixture(scope="module")
def shipped() -> Pack:
    return load_pack()


def charted(word: str, *more: dict[str, object]) -> dict[str, object]:
    code = {"coding": [{"system": f"{OWN_BASE}/{OWN['findings']}", "code": "eyes-examination"}]}
    answer = {
        "coding": [{"system": "http://snomed.info/sct", "code": {"normal": "17621005", "abnormal": "263654008"}[word]}]
    }
    return bundle(patient(), encounter(), observation(code, valueCodeableConcept=answer), *more)


def reflex(found: Assessment) -> set[str]:
    """The statuses of the rule on the red reflex, both sides."""
    return {t.status for t in found.trace if t.rule.split("@")[0] == "eyes.red-reflex-abnormal"}


def test_normal_spreads_over_the_listed_findings_and_says_so(shipped: Pack) -> None:
    flat = read(charted("normal"), shipped).require().visit
    found = shipped.assess(flat, readers=["native"])
    assert reflex(found) == {"undecided"}, "what takes an instrument is not filled by the normal of a system"
    by_itself = "record it by itself: Red reflex; Glow of both eyes compared"
    assert any(warning.endswith(by_itself) for warning in found.warnings)
    ruled_out = {one.rule for one in found.trace if one.status == "ruled out"}
    assert "eyes.red-eye-to-28-days" in ruled_out, "what is seen without either is filled"
    white = {"value": "white", "side": "left"}
    both = shipped.assess({**flat, "findings": {**flat["findings"], "red_reflex": [white]}}, readers=["native"])
    reason = next(g for r in both.recommendations for g in r.reasons if g.rule == "eyes.red-reflex-abnormal")
    assert any(v.value == "white" for v in reason.values), "what was recorded by itself comes first"


def test_abnormal_makes_nothing_known_and_is_reported(shipped: Pack) -> None:
    result = read(charted("abnormal"), shipped).require()
    found = shipped.assess(result.visit, readers=["native"])
    assert reflex(found) == {"undecided"}
    assert any("is charted as abnormal" in warning for warning in found.warnings)
