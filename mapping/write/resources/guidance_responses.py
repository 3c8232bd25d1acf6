"""What is still open, one GuidanceResponse a step of the examination, and one for the run as a whole."""

from __future__ import annotations

from collections.abc import Iterable

from layette.engine.answer.parts.assessment import Due, Question, Step
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource, period
from layette.mapping.write.words import concepts, wording


def write(out: Output, device: str) -> None:
    """Write a GuidanceResponse for each open step, for what is awaited, and for the run."""
    for step in out.assessment.steps:
        _step(out, device, step)
    if out.assessment.due:
        _due(out, device)
    _run(out, device)


def _response(out: Output, device: str, name: str, status: str) -> Resource:
    pack = out.assessment.pack
    return {
        "resourceType": "GuidanceResponse",
        "meta": {},
        "requestIdentifier": {"system": out.system(keys.RUN_KEY), "value": out.run},
        "identifier": [{"system": out.system(keys.RUN_KEY), "value": f"{out.run}.{name}"}],
        "moduleCanonical": f"{out.base}/PlanDefinition/{pack.id}|{pack.version}",
        "status": status,
        **subject.about(out),
        "occurrenceDateTime": out.at,
        "performer": {"reference": device},
    }


def _create(out: Output, resource: Resource) -> None:
    out.tagged(resource, keys.RUNS, resource["identifier"][0]["value"])


def _step(out: Output, device: str, step: Step) -> None:
    resource = _response(out, device, f"step.{step.area}", "data-required")
    resource["reasonCode"] = [{"text": step.label}]
    emergencies = f", {step.emergencies} of them possibly an emergency" if step.emergencies else ""
    summary = f"{step.label}: closes {step.rules} open question(s){emergencies}; worst priority {step.worst}."
    lines = [summary, *(_said(question) for question in step.questions), out.assessment.caution]
    resource["note"] = wording.as_notes(lines)
    resource["dataRequirement"] = [_requirement(out, question) for question in step.questions]
    if not resource["dataRequirement"]:
        del resource["dataRequirement"]
    _create(out, resource)


def _said(question: Question) -> str:
    why = f" ({question.reason})" if question.reason else ""
    return f"{question.label}: {question.state}{why}; open rules: {', '.join(question.rules)}."


def _requirement(out: Output, question: Question) -> Resource:
    filters = [_code_filter(out, question.finding, question.label)]
    if question.side:
        filters.append({"path": "bodySite", "code": concepts.side(question.side)["coding"]})
    return {"type": "Observation", "codeFilter": filters}


def _code_filter(out: Output, finding: str, label: str) -> Resource:
    shape = out.pack.findings.get(finding.split(".")[0])
    theirs = concepts.published(shape.codes) if shape else []
    return {"path": "code", "code": [*theirs, concepts.coding(out.system(keys.FINDINGS), finding, label)]}


def _due(out: Output, device: str) -> None:
    resource = _response(out, device, "due", "data-required")
    resource["reasonCode"] = [{"text": "Results awaited"}]
    lines = [_deadline(one) for one in out.assessment.due]
    resource["note"] = wording.as_notes([*lines, out.assessment.caution])
    resource["dataRequirement"] = [_awaited(out, one) for one in out.assessment.due]
    _create(out, resource)


def _deadline(one: Due) -> str:
    source = wording.cited(one.sources)
    return f"{one.label}: {one.state}, {one.window.text}. {one.because} Rule: {one.rule}. Source: {source}."


def _awaited(out: Output, one: Due) -> Resource:
    requirement: Resource = {"type": "Observation", "codeFilter": [_code_filter(out, one.finding, one.label)]}
    when = period(one.window.start, one.window.until)
    return requirement | ({"dateFilter": [{"path": "effective", "valuePeriod": when}]} if when else {})


def _run(out: Output, device: str) -> None:
    open_items = out.assessment.steps or out.assessment.due
    resource = _response(out, device, "run", "data-required" if open_items else "success")
    messages = _messages(out)
    if messages:
        outcome = {"resourceType": "OperationOutcome", "id": "messages", "issue": messages}
        resource = {
            "resourceType": resource.pop("resourceType"),
            "meta": resource.pop("meta"),
            "contained": [outcome],
        } | resource
        resource["evaluationMessage"] = [{"reference": "#messages"}]
    differing = [setting for setting in out.assessment.settings if not setting.default]
    settings = [f"Setting {setting.label}: {setting.choice} (not the default)." for setting in differing]
    resource["note"] = wording.as_notes([out.assessment.read, *out.remarks, *settings, out.assessment.caution])
    _create(out, resource)


def _messages(out: Output) -> list[Resource]:
    missing = [f"Not evaluated: {one.title} (rule {one.rule}): {one.why}" for one in out.assessment.cannot_evaluate]
    return [
        *_issues("warning", "processing", out.assessment.warnings),
        *_issues("warning", "incomplete", missing),
        *_issues("information", "informational", out.assessment.notices),
    ]


def _issues(severity: str, code: str, texts: Iterable[str]) -> list[Resource]:
    return [{"severity": severity, "code": code, "diagnostics": wording.clean(text)} for text in texts if text.strip()]
