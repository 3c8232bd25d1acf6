"""What already stands under a request key: our earlier proposals, and orders that a clinician made."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from layette.engine.answer.parts.assessment import Recommendation
from layette.engine.answer.resolved.orders import rank_of
from layette.mapping.write.resources.evidence import kind_of
from layette.mapping.write.run import keys
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.run.subject import point


def covered(recommendation: Recommendation) -> bool:
    """Whether an active order of at least this urgency stands, so that nothing needs to be proposed."""
    placed = recommendation.placed
    if placed is None or placed.status != "active":
        return False
    return rank_of(placed.priority) <= rank_of(recommendation.priority)


def replaced(out: Output, recommendation: Recommendation, kind: str) -> list[Resource]:
    """Return References to our earlier drafts under this request key that gave another answer."""
    found = [*_drafts(out, recommendation, kind), *_listed(out, recommendation)]
    placed = recommendation.placed
    if placed is not None and placed.status == "draft" and placed.reference:
        found += [] if _same(out, placed.reference, recommendation) else [placed.reference]
    fitting = [reference for reference in dict.fromkeys(found) if kind_of(out, reference) in (kind, "")]
    return [link for link in (point(out, reference) for reference in fitting) if link is not None]


def _drafts(out: Output, recommendation: Recommendation, kind: str) -> Iterator[str]:
    for reference, resource in out.sources.of_type(kind):
        ours = _identifier(out, resource, keys.REQUEST_KEY) == recommendation.request_key
        if ours and resource.get("status") == "draft" and not _same(out, reference, recommendation):
            yield reference


def _listed(out: Output, recommendation: Recommendation) -> Iterator[str]:
    """Yield drafts of the flat history that carry this request key and another answer."""
    history = out.visit.get("history") or {}
    for order in history.get("orders") or ():
        reference = order.get("reference")
        if order.get("status") != "draft" or not reference or order.get("request_key") != recommendation.request_key:
            continue
        if order.get("answer_key") != recommendation.answer_key and not _same(out, reference, recommendation):
            yield reference


def _same(out: Output, reference: str, recommendation: Recommendation) -> bool:
    resource = out.sources.get(reference)
    return resource is not None and _identifier(out, resource, keys.ANSWER_KEY) == recommendation.answer_key


def _identifier(out: Output, resource: Mapping[str, Any], system: str) -> str | None:
    names = resource.get("identifier")
    for one in names if isinstance(names, list) else ():
        if isinstance(one, Mapping) and one.get("system") == out.system(system):
            return str(one.get("value"))
    return None
