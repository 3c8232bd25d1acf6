"""Names and keys of what goes out: the same visit gives the same keys, on any machine, at any time.

Nothing here draws a random number or reads a clock. A key is a digest of what must not exist twice;
a `urn:uuid` is the name-based UUID (version 5) of that key.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Any
from urllib.parse import quote
from uuid import NAMESPACE_URL

import orjson

from layette.engine.answer.parts.assessment import Assessment
from layette.mapping.codes import OWN, OWN_BASE
from layette.mapping.fhir.json import JSON_ALONE

BASE = OWN_BASE
"""The default canonical base: a reserved example domain, so that nobody's server is named by mistake."""

FINDINGS = OWN["findings"]
TARGETS = OWN["targets"]
CATEGORIES = "CodeSystem/request-categories"
TAGS = OWN["tags"]
RUNS = "CodeSystem/runs"
SEALS = "CodeSystem/seals"
PERFORMERS = "CodeSystem/performers"
BODY_SITES = "CodeSystem/body-sites"
JUDGMENTS = OWN["judgments"]
TOPIC = OWN["payload-topic"]
REQUEST_KEY = OWN["request-key"]
ANSWER_KEY = OWN["answer-key"]
PLAN = "identifier/plan"
INPUT_KEY = "identifier/input-key"
PROPOSAL_KEY = "identifier/proposal-key"
RUN_KEY = "identifier/run"
PACK_DIGEST = "identifier/pack-digest"
DEVICE = "identifier/device"

DRAFT = "draft"
SEALED = (
    "status", "intent", "priority", "doNotPerform", "category", "code", "orderDetail", "occurrencePeriod",
    "performerType", "performer", "reasonCode", "bodySite", "note", "patientInstruction", "payload", "activity",
)  # fmt: skip
"""What a person could change of a draft of ours; references are left out, which a server writes anew."""


def fhir_id(name: str) -> str:
    """Return ``name`` as a FHIR id, which knows no underscore and at most 64 characters."""
    return name.replace("_", "-")[:64]


def digest(*parts: object) -> str:
    """Return 32 hexadecimal digits of the SHA-256 of the parts, written as canonical JSON."""
    return _digest(written(parts))


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:32]


class Given:
    """A flat visit in its canonical form, without what an earlier run of ours left on the record: written out once."""

    def __init__(self, visit: Mapping[str, Any]) -> None:
        """Write out each part of ``visit``."""
        parts: Mapping[str, Any] = canonical(without_ours(visit))
        self._texts = {part: written(content) for part, content in sorted(parts.items())}

    def digest(self, *before: object, after: tuple[object, ...] = (), without: Collection[str] = ()) -> str:
        """Return `digest` of what comes before, the visit without some of its parts, and what comes after."""
        parts = (f"{written(part)}:{text}" for part, text in self._texts.items() if part not in without)
        texts = [*map(written, before), f"{{{','.join(parts)}}}", *map(written, after)]
        return _digest(f"[{','.join(texts)}]")


def run_digest(assessment: Assessment, visit: Given) -> str:
    """Return what names this run: all that decides its answer."""
    return visit.digest(_made_by(assessment), assessment.at)


def reply_digest(assessment: Assessment, visit: Given, told: object) -> str:
    """Return what names what a run has to say: the same at another moment, as long as nothing else is told."""
    return visit.digest(_made_by(assessment), after=(told,), without=("at", "until"))


def _made_by(assessment: Assessment) -> list[object]:
    settings = sorted((one.id, one.choice) for one in assessment.settings)
    return [assessment.pack.digest, assessment.engine, assessment.readers, settings]


def without_ours(visit: Mapping[str, Any]) -> dict[str, Any]:
    """Return a flat visit without the drafts that an earlier run of ours left in its history."""
    history = visit.get("history") or {}
    orders = [one for one in history.get("orders") or () if not (one.get("request_key") and one.get("status") == DRAFT)]
    kept = {part: content for part, content in history.items() if part != "orders"}
    return {**visit, "history": kept | ({"orders": orders} if orders else {})}


def seal(resource: Mapping[str, Any]) -> str:
    """Return a digest of what a person could change of a proposal: while it fits, nobody has touched it."""
    told = [[part, resource[part]] for part in SEALED if part in resource]
    text = written((told,))
    if '"reference":' in text:  # most of what is sealed has none, and need not be copied to leave it out
        text = written((_worded(told),))
    return _digest(text)[:16]


def _worded(value: Any) -> Any:
    if type(value) is str:  # the most frequent first
        return value
    if isinstance(value, (list, tuple)):
        return [inner if type(inner) is str else _worded(inner) for inner in value]
    if type(value) is dict or isinstance(value, Mapping):
        return {
            key: inner if type(inner) is str else _worded(inner) for key, inner in value.items() if key != "reference"
        }
    return value


def canonical(value: Any) -> Any:
    """Return a visit without the places at which things stood in the input, its lists in one order."""
    if type(value) is str:  # the most frequent first
        return value
    if isinstance(value, (list, tuple)):
        made = [canonical(inner) for inner in value]
        return sorted(made, key=written) if len(made) > 1 else made
    if type(value) is dict or isinstance(value, Mapping):
        return {
            str(key): inner if type(inner) is str else canonical(inner) for key, inner in value.items() if key != "path"
        }
    return value


def urn(base: str, kind: str, key: str) -> str:
    """Return the ``urn:uuid`` of a resource, the same for the same key: that of `uuid.uuid5`, without its objects."""
    name = f"{base}/{kind}#{key}".encode()
    made = bytearray(hashlib.sha1(NAMESPACE_URL.bytes + name, usedforsecurity=False).digest()[:16])
    made[6], made[8] = made[6] & 0x0F | 0x50, made[8] & 0x3F | 0x80  # version 5, variant of RFC 4122
    text = made.hex()
    return f"urn:uuid:{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def token(parameter: str, system: str, value: str) -> str:
    """Return a search by token (``identifier=system|value``) as `ifNoneExist` wants it."""
    return f"{parameter}={_escape(system)}|{_escape(value)}"


@lru_cache(maxsize=1000)  # the same few systems
def _escape(text: str) -> str:
    if text.isascii() and text.isalnum():
        return text
    for mark in "\\,$|":
        text = text.replace(mark, "\\" + mark)
    return quote(text, safe=":/-._~")


def written(value: object) -> str:
    """Return canonical JSON: keys in order, nothing between, a decimal as text with its own digits."""
    try:
        return orjson.dumps(value, _plain, _SORTED).decode()
    except orjson.JSONEncodeError:  # half a surrogate pair, a number of more than 64 bits
        return _STANDARD.encode(value)


def _plain(value: object) -> Any:
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"a {type(value).__name__} has no canonical form")


_SORTED = orjson.OPT_SORT_KEYS | JSON_ALONE
_STANDARD = json.JSONEncoder(sort_keys=True, ensure_ascii=False, separators=(",", ":"), default=_plain)
"""Made once: `json.dumps` makes an encoder for each call."""
