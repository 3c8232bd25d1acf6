"""The run as one GuidanceResponse: what it gave, what is still wanted to settle the rest, and what must be said.

A requirement stands for one step of the examination and one set of sides, with the findings as alternatives of its
filter: nothing of what is open is lost. Their codes are a contained set, which names each system once, so that this
takes a tenth of the room.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from layette.engine.answer.shapes.detail import Question, Step
from layette.engine.answer.shapes.proposed import Due
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource, period
from layette.mapping.write.words import concepts, wording

Wanted = tuple[str, str | None, str | None]
"""Where something is wanted: the step of the examination, and the ends of the time in which it is."""


def write(out: Output, plan: str) -> None:
    """Write the GuidanceResponse; ``plan`` is the reference of its result, empty where nothing is proposed."""
    pack = out.assessment.pack
    wanted = list(_requirements(out))
    resource: Resource = {"resourceType": "GuidanceResponse", "meta": {}}
    messages = _messages(out)
    outcome = [{"resourceType": "OperationOutcome", "id": "messages", "issue": messages}] if messages else []
    contained = [*outcome, *(codes for codes, _ in wanted)]
    resource |= {"contained": contained} if contained else {}
    if _tells_of_the_mother(out):
        concepts.label_mother(resource)
    resource["requestIdentifier"] = {"system": out.system(keys.RUN_KEY), "value": out.reply}
    resource["identifier"] = [{"system": out.system(keys.RUN_KEY), "value": out.reply}]
    resource["moduleCanonical"] = f"{out.base}/PlanDefinition/{pack.id}|{pack.version}"
    resource["status"] = "data-required" if wanted else "success"
    resource |= subject.about(out) | {"occurrenceDateTime": out.at, "performer": {"reference": out.device}}
    resource["note"] = wording.as_notes(_notes(out))
    resource |= {"evaluationMessage": [{"reference": "#messages"}]} if messages else {}
    resource |= {"result": {"reference": plan}} if plan else {}
    resource |= {"dataRequirement": [requirement for _, requirement in wanted]} if wanted else {}
    out.tagged(resource, keys.RUNS, out.reply)


def _tells_of_the_mother(out: Output) -> bool:
    """Whether a sentence of the run names what is asked or proposed of her: it is then as restricted as her data."""
    hers = {name for name, shape in out.pack.findings.items() if shape.subject == "mother"}
    made = out.assessment
    asked = {question.finding for step in made.steps for question in step.questions}
    told = [one.subject for one in (*made.recommendations, *made.to_chase, *made.standing)]
    told += [*(one.subject for one in made.to_judge), *(one.subject for one in made.due)]
    return bool(hers & asked) or "mother" in told


def _notes(out: Output) -> Iterator[str]:
    made = out.assessment
    yield from (made.verdict.text, made.read, *out.remarks)
    yield from (f"Setting {one.label}: {one.choice} (not the default)." for one in made.settings if not one.default)
    yield from map(_step, made.steps) if out.whole else _steps_together(made.steps)
    # What is wanted later is in the data requirement, with its time; where all goes out, it is said in words too.
    yield from (_due(due) for due in made.due if out.whole or due.state != "later")
    yield made.caution


def _steps_together(steps: Iterable[Step]) -> Iterator[str]:
    """Yield the steps that are open, those with the same worst together; what they ask for is the data requirement."""
    by_worst: dict[str, list[str]] = {}
    for step in steps:
        by_worst.setdefault(_worst(step), []).append(step.label)
    yield from (f"Still open (worst: {worst}): {'; '.join(labels)}." for worst, labels in by_worst.items())


def _worst(step: Step) -> str:
    return f"{step.worst}, emergency" if step.emergencies else str(step.worst)


def _step(step: Step) -> str:
    return " ".join([f"Still open: {step.label} (worst: {_worst(step)}).", *map(_question, step.questions)])


def _question(question: Question) -> str:
    why = f" ({question.reason})" if question.reason else ""
    return f"{question.label}: {question.state}{why}; open rules: {', '.join(question.rules)}."


def _due(due: Due) -> str:
    """Say what is not on record, and why it is wanted."""
    source = f" Source: {wording.cited(due.sources)}."
    return f"{due.label}: {due.state}, {due.window.text}. {due.because} Rule: {due.rule}.{source}"


def _requirements(out: Output) -> Iterator[tuple[Resource, Resource]]:
    """Yield each data requirement after the set of codes that it names."""
    grouped: defaultdict[tuple[Wanted, tuple[str, ...]], list[str]] = defaultdict(list)
    for wanted, findings in _wanted(out).items():
        for finding, sides in findings.items():
            grouped[wanted, tuple(sorted(sides)) if sides else ()].append(finding)
    for number, (((step, start, until), both), names) in enumerate(grouped.items(), 1):
        codes = _set_of_codes(out, f"{step}.{number}", names)
        filters: list[Resource] = [{"path": "code", "valueSet": f"#{codes['id']}"}]
        filters += [{"path": "bodySite", "code": [concepts.side_coding(side) for side in both]}] if both else []
        requirement: Resource = {"type": "Observation", "codeFilter": filters}
        when = period(start, until)
        yield codes, requirement | ({"dateFilter": [{"path": "effective", "valuePeriod": when}]} if when else {})


def _wanted(out: Output) -> Mapping[Wanted, Mapping[str, set[str]]]:
    """Return the open findings with the sides that are open."""
    wanted: defaultdict[Wanted, defaultdict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for step in out.assessment.steps:
        of_step = wanted[step.area, None, None]
        for question in step.questions:
            sides = of_step[question.finding]
            if question.side:
                sides.add(question.side)
    for due in out.assessment.due:
        sides = wanted["due", due.window.start, due.window.until][due.finding]
        if due.side:
            sides.add(due.side)
    return wanted


def _set_of_codes(out: Output, name: str, findings: Iterable[str]) -> Resource:
    """Return the codes of findings as a set, without their display, which the published dictionary holds."""
    by_system: defaultdict[str, dict[str, None]] = defaultdict(dict)
    ours = out.system(keys.FINDINGS)
    for finding in findings:
        shape = out.pack.findings.get(finding.split(".")[0])
        for system, code in (*(concepts.codes_of(shape.codes) if shape else ()), (ours, finding)):
            by_system[system][code] = None
    included = [
        {"system": system, "concept": [{"code": code} for code in codes]} for system, codes in by_system.items()
    ]
    return {"resourceType": "ValueSet", "id": name, "status": "active", "compose": {"include": included}}


def _messages(out: Output) -> list[Resource]:
    missing = [f"Not evaluated: {one.title} (rule {one.rule}): {one.why}" for one in out.assessment.cannot_evaluate]
    return [
        *_issues("warning", "processing", out.assessment.warnings),
        *_issues("warning", "incomplete", missing),
        *_issues("information", "informational", out.assessment.notices),
    ]


def _issues(severity: str, code: str, texts: Iterable[str]) -> list[Resource]:
    return [{"severity": severity, "code": code, "diagnostics": wording.clean(text)} for text in texts if text.strip()]
