"""The page for the clinician, filed beside the proposals as a DocumentReference."""

from __future__ import annotations

import base64

from layette.mapping.text import render
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.words import concepts

_TYPE = ("34117-2", "History and physical note")
_PAGE = "text/plain; charset=utf-8"


def write(out: Output) -> None:
    """Write the visit summary, every list to its end, once a run."""
    page = render(out.assessment, full=True, awaited=[k for k, v in out.pack.findings.items() if v.awaited])
    title = f"Visit summary with proposals, {out.at}"
    data = base64.b64encode(page.encode("utf-8")).decode("ascii")
    resource: Resource = {"resourceType": "DocumentReference"} | _meta(out)
    resource |= {"status": "current", "docStatus": "preliminary"}
    resource["type"] = concepts.concept(concepts.published({"loinc": _TYPE[0]}), _TYPE[1])
    resource |= {"subject": subject.subject(out), "date": out.at, "description": out.assessment.caution}
    resource["author"] = [{"reference": out.device}]
    resource["content"] = [{"attachment": _attachment(data, title, out.at)}]
    about = subject.about(out)
    resource |= {"context": {"encounter": [about["encounter"]]}} if "encounter" in about else {}
    out.identified(resource, keys.RUN_KEY, f"{out.run}.summary")


def _attachment(data: str, title: str, at: str) -> Resource:
    return {"contentType": _PAGE, "language": "en", "data": data, "title": title, "creation": at}


def _meta(out: Output) -> Resource:
    """The page names what is known of the mother; it is then as restricted as her own data."""
    resource: Resource = {"meta": concepts.computed(out)}
    if _tells_of_the_mother(out):
        concepts.label_mother(resource)
    return resource


def _tells_of_the_mother(out: Output) -> bool:
    hers = {name for name, shape in out.pack.findings.items() if shape.subject == "mother"}
    history = out.visit.get("history") or {}
    recorded = {key.partition(".")[0] for part in (out.visit, history) for key in part.get("findings") or {}}
    made = out.assessment
    groups = (made.recommendations, made.standing, made.avoid, made.guidance, made.reassurance)
    return bool(hers & recorded) or any(one.subject == "mother" for group in groups for one in group)
