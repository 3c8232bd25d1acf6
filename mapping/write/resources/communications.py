"""What the family is told: one CommunicationRequest for all of it, and a restricted one for what concerns the mother.

A payload a topic, with the topic's code. Put together, the mother's would lose its label; apart by topic, an inbox
would hold thirty of them. Where all was asked for, each topic has one of its own as well, in every language, which
says by `basedOn` that it is a part. Guidance that was given is history (a Communication): read, and not written again.
"""

from __future__ import annotations

from collections.abc import Sequence

from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.terms import PRIORITIES
from layette.mapping.write.resources import history, requests
from layette.mapping.write.resources.evidence import Evidence
from layette.mapping.write.resources.mother import mother
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.words import concepts, spoken, wording

_ALIVE = ("draft", "active", "on-hold")
"""What was told once may be owed again: a request that is completed is no answer to it."""
_ORDER = (
    "resourceType", "meta", "language", "identifier", "basedOn", "replaces", "groupIdentifier", "status", "category",
    "priority", "subject", "about", "encounter", "payload", "occurrencePeriod", "authoredOn", "requester", "recipient",
    "reasonCode", "reasonReference", "note",
)  # fmt: skip


def answers(out: Output) -> dict[bool, str]:
    """Return the answer keys of what is told; by whether it is the mother's own."""
    return {hers: _keys(out, topics, hers)[1] for hers, topics in _groups(out).items()}


def write(out: Output, evidence: Evidence) -> list[Resource]:
    """Write what is owed to the family and to the mother; return References to the requests."""
    links = []
    for hers, topics in _groups(out).items():
        link = {"reference": _together(out, topics, hers), "display": _title(hers)}
        links.append(link)
        for topic in topics if out.whole else ():
            _alone(out, evidence, topic, link)
    return links


def _groups(out: Output) -> dict[bool, list[Recommendation]]:
    groups: dict[bool, list[Recommendation]] = {}
    for topic in (*out.assessment.guidance, *out.assessment.reassurance):
        groups.setdefault(topic.subject == "mother", []).append(topic)
    return dict(sorted(groups.items()))


def _title(hers: bool) -> str:
    return "Tell the mother, in private" if hers else "Tell the family"


def _keys(out: Output, topics: Sequence[Recommendation], hers: bool) -> tuple[str, str]:
    """Return the request key, which does not change, and the answer key, which is that of the set of topics."""
    request = keys.digest(out.patient_key, "guidance", "mother" if hers else "family")
    return request, keys.digest(request, sorted({topic.target for topic in topics}))


def _together(out: Output, topics: Sequence[Recommendation], hers: bool) -> str:
    request, answer = _keys(out, topics, hers)
    resource = _head(out, topics, hers) | {"identifier": requests.identifiers(out, request, answer)}
    replaces = history.replaced(out, request, answer, "CommunicationRequest")
    if replaces:
        resource["replaces"] = replaces
    if all(out.language in topic.plain for topic in topics):
        resource["language"] = out.language
    resource["category"] = [concepts.category(out, "education")]
    resource["payload"] = [_payload(out, topic) for topic in topics]
    resource["note"] = [{"text": _rules(topics)}]
    return _create(out, resource)


def _head(out: Output, topics: Sequence[Recommendation], hers: bool) -> Resource:
    about = subject.about(out)
    resource: Resource = {"resourceType": "CommunicationRequest", "groupIdentifier": out.group, "status": keys.DRAFT}
    priority = min((topic.priority for topic in topics), key=PRIORITIES.index)
    resource |= {"priority": priority, "authoredOn": out.authored}
    resource |= about | {"occurrencePeriod": {"start": out.at}, "requester": {"reference": out.device}}
    her = mother(out) if hers else None
    if hers:
        concepts.label_mother(resource)
    return resource | {"recipient": [her or about["subject"]]} | ({"about": [her]} if her else {})


def _create(out: Output, resource: Resource) -> str:
    answer = next(one for one in resource["identifier"] if one["system"] == out.system(keys.ANSWER_KEY))
    return out.proposed({name: resource[name] for name in _ORDER if name in resource}, answer["value"], _ALIVE)


def _payload(out: Output, topic: Recommendation) -> Resource:
    words = [spoken.in_one_language(topic.plain, out.language) or topic.label, *topic.do]
    extension = {"url": out.system(keys.TOPIC), "valueCode": topic.target}
    content = wording.clean(" ".join(text for text in words if text))
    return {"id": keys.fhir_id(topic.target), "extension": [extension], "contentString": content}


def _rules(topics: Sequence[Recommendation]) -> str:
    """Return the rules behind each topic, as a line; what a rule says and where it is from stands in the pack."""
    said = (f"{topic.target}: {', '.join(reason.rule for reason in topic.reasons)}" for topic in topics)
    return f"Rules: {'; '.join(said)}."


def _alone(out: Output, evidence: Evidence, topic: Recommendation, link: Resource) -> None:
    """Write one topic by itself, with its reasons and in every language."""
    resource = _head(out, [topic], topic.subject == "mother") | {"basedOn": [{"reference": link["reference"]}]}
    resource["identifier"] = requests.identifiers(out, topic.request_key, topic.answer_key)
    group = topic.category or ("education" if topic.kind == "guide" else "reassurance")
    what = concepts.target(out, topic.target, topic.label, topic.codes)
    resource["category"] = [concepts.category(out, group), what]
    resource["payload"] = _in_every_language(topic)
    resource["reasonCode"] = [{"text": text} for text in dict.fromkeys(reason.because for reason in topic.reasons)]
    rests = requests.resting_on(out, evidence, topic)
    # R4 allows the same four types as reasons here; what else it rests on is what it is about.
    about = [*resource.get("about", ()), *(one for one in rests.pop("supportingInfo", ()) if one != mother(out))]
    resource |= rests | ({"about": about} if about else {})
    resource["note"] = wording.as_notes([*map(wording.behind, topic.reasons), *wording.reserve(topic)])
    _create(out, resource)


def _in_every_language(topic: Recommendation) -> list[Resource]:
    words = topic.plain.get("en") or topic.label
    return [spoken.text("contentString", words, topic.plain)] + [{"contentString": text} for text in topic.do if text]
