"""What already stands under a request key: our earlier proposals, and an overdue order that is chased."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from layette.engine.answer.shapes.proposed import Placed
from layette.mapping.write.resources.evidence import kind_of
from layette.mapping.write.run import keys
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.run.subject import point


def replaced(out: Output, request_key: str, answer_key: str, kind: str, placed: Placed | None = None) -> list[Resource]:
    """Return References to what a proposal takes the place of.

    That is our earlier drafts under its request key that gave another answer; and of ``placed``, the order that stands,
    a draft with another answer, or an emergency that is overdue and chased.
    """
    found = [*_drafts(out, request_key, answer_key, kind), *_listed(out, request_key, answer_key)]
    if placed is not None and placed.reference and (placed.status == keys.DRAFT or _chased(placed)):
        found += [] if _same(out, placed.reference, answer_key) else [placed.reference]
    fitting = [reference for reference in dict.fromkeys(found) if kind_of(out, reference) in (kind, "")]
    return [link for link in (point(out, reference) for reference in fitting) if link is not None]


def _chased(placed: Placed) -> bool:
    return placed.overdue and placed.priority in ("stat", "asap")


def _drafts(out: Output, request_key: str, answer_key: str, kind: str) -> Iterator[str]:
    for reference, resource in out.sources.of_type(kind):
        ours = identifier(out, resource, keys.REQUEST_KEY) == request_key
        if ours and resource.get("status") == keys.DRAFT and not _same(out, reference, answer_key):
            yield reference


def _listed(out: Output, request_key: str, answer_key: str) -> Iterator[str]:
    """Yield drafts of the flat history that carry this request key and another answer."""
    history = out.visit.get("history") or {}
    for order in history.get("orders") or ():
        reference = order.get("reference")
        if order.get("status") != keys.DRAFT or not reference or order.get("request_key") != request_key:
            continue
        if order.get("answer_key") != answer_key and not _same(out, reference, answer_key):
            yield reference


def _same(out: Output, reference: str, answer_key: str) -> bool:
    resource = out.sources.get(reference)
    return resource is not None and identifier(out, resource, keys.ANSWER_KEY) == answer_key


def identifier(out: Output, resource: Mapping[str, Any], system: str) -> str | None:
    """Return the value of an identifier of ours; None where a resource has none."""
    names = resource.get("identifier")
    for one in names if isinstance(names, list) else ():
        if isinstance(one, Mapping) and one.get("system") == out.system(system):
            return str(one.get("value"))
    return None
