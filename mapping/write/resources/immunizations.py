"""Vaccines that are due or overdue, as one ImmunizationRecommendation beside the proposed orders."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from layette.engine.answer.shapes.proposed import Due, Recommendation
from layette.engine.answer.shapes.proposed import Window as Span
from layette.mapping import codes
from layette.mapping.write.resources.evidence import Evidence, split
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource, instant
from layette.mapping.write.words import concepts, wording

_CVX = codes.uri("cvx")
_STATUS = "http://terminology.hl7.org/CodeSystem/immunization-recommendation-status"

DATES: Mapping[str, str] = {"30981-5": "earliest date to give", "30980-7": "date vaccine due"}
"""Kinds of dates in LOINC, as the R4 value set immunization-recommendation-date-criterion lists them (4.0.1)."""

_GIVEN = frozenset({"Immunization", "ImmunizationEvaluation"})


def write(out: Output, evidence: Evidence) -> list[str]:
    """Write the vaccines of this visit's proposals; nothing where none is due. Doses already given are history.

    Returns the reference to what was written, as a list.
    """
    due = [made for made in out.assessment.recommendations if _is_vaccine(made)]
    entries = [entry for made in due for entry in _entries(out, evidence, made)]
    if not entries:
        return []
    resource: Resource = {"resourceType": "ImmunizationRecommendation", "meta": concepts.computed(out)}
    resource |= {"patient": subject.subject(out), "date": out.at, "recommendation": entries}
    key = keys.digest(out.patient_key, "immunizations", sorted(made.answer_key for made in due))
    resource["identifier"] = [{"system": out.system(keys.PROPOSAL_KEY), "value": key}]
    return [out.tagged(resource, keys.PROPOSAL_KEY, key)]


def _is_vaccine(recommendation: Recommendation) -> bool:
    return recommendation.category == "immunization" or any(one.system == _CVX for one in recommendation.codes)


def _entries(out: Output, evidence: Evidence, recommendation: Recommendation) -> Iterator[Resource]:
    """Yield an entry for each dose that rules wait for, else one for the recommendation itself."""
    rules = {reason.rule for reason in recommendation.reasons}
    doses = [one for one in out.assessment.due if one.rule in rules and one.state != "later"]
    for dose in doses:
        yield _entry(out, evidence, recommendation, dose)
    if not doses:
        yield _entry(out, evidence, recommendation, None)


def _entry(out: Output, evidence: Evidence, recommendation: Recommendation, dose: Due | None) -> Resource:
    window = dose.window if dose else recommendation.window
    overdue = dose.state == "overdue" if dose else window.overdue
    word = "overdue" if overdue else "due"
    entry: Resource = {"vaccineCode": [_vaccine(out, recommendation, dose)]}
    entry["forecastStatus"] = concepts.concept([concepts.coding(_STATUS, word, word.capitalize())], word)
    reasons = [reason for reason in recommendation.reasons if dose is None or reason.rule == dose.rule]
    entry["forecastReason"] = [{"text": text} for text in dict.fromkeys(reason.because for reason in reasons)]
    dates = _dates(window)
    entry |= {"dateCriterion": dates} if dates else {}
    said = [*recommendation.do, *map(wording.reason, reasons)]
    entry["description"] = wording.clean(" ".join(text.rstrip(".") + "." for text in said))
    used = evidence.references(out, [value for reason in reasons for value in reason.values])
    doses, others = split(out, used, _GIVEN)
    entry |= {"supportingImmunization": doses} if doses else {}
    return entry | ({"supportingPatientInformation": others} if others else {})


def _vaccine(out: Output, recommendation: Recommendation, dose: Due | None) -> Resource:
    """Return what to give: the target's verified CVX code, our own code of the target, and of the dose."""
    vaccines = [one for one in concepts.verified(recommendation.codes) if one["system"] == _CVX]
    ours = concepts.coding(out.system(keys.TARGETS), recommendation.target, recommendation.label)
    shape = out.pack.findings.get(dose.finding) if dose else None
    if dose is None or shape is None:
        return concepts.concept([*vaccines, ours], recommendation.label)
    found = concepts.coding(out.system(keys.FINDINGS), dose.finding, shape.label)
    return concepts.concept([*vaccines, ours, found], shape.label)


def _dates(window: Span) -> list[Resource]:
    pairs = zip(DATES.items(), (window.start, window.until), strict=True)
    return [
        {"code": concepts.concept([concepts.coding("loinc", code)], words), "value": instant(when)}
        for (code, words), when in pairs
        if when
    ]
