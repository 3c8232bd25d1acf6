"""Whatever comes in, what goes out is an answer or says what is wrong: no fault, and no word of our code."""

from __future__ import annotations

import copy
import json
import random
from typing import Any
from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.asked_service import Service
from support.shipped_examples import EXAMPLES

from layette.engine import Pack, load_pack
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.intake import parse
from layette.mapping.service.reply import HTML
from layette.mapping.service.work import Job, perform
from layette.mapping.validate import validate

pytestmark = pytest.mark.xdist_group("service")

FLAT = parse((EXAMPLES / "healthy-day-4.yaml").read_bytes())
BUNDLE = loads((EXAMPLES / "half-examined-day-5.json").read_bytes())
ODD = [None, True, -1, 10**30, "", "x", "\u202e", "38.5", [], [[]], {}, {"value": {}}, {"value": 1, "unit": []}]
JSON, FHIR = "application/json", "application/fhir+json"
PLAIN = ("assess", "read", "open", "report", "family-sheet")
TASKS = [*((task, JSON) for task in PLAIN), *((task, FHIR) for task in ("fhir-assess", "validate", "fhir-of-flat"))]


def ship() -> Pack:
    return load_pack()


def fair(task: str, body: bytes, form: str) -> None:
    """Hold one reply to what every reply must be."""
    reply = perform(ship(), Job(task, body, {}, form))
    assert reply.status in (200, 413, 422), reply.body[:300]
    assert b"Traceback" not in reply.body
    if reply.media == HTML:
        return
    content = json.loads(reply.body)
    if reply.status != 200 and form == FHIR:
        assert validate(content) == []
    elif reply.status != 200:
        assert content["problems"]


@pytest.mark.parametrize(("task", "form"), TASKS)
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(start=st.sampled_from([b"", b"{", b"[", b"<", b'{"resourceType":"Bundle",', b"MSH|^~\\&|"]), rest=st.binary())
def test_any_bytes(task: str, form: str, start: bytes, rest: bytes) -> None:
    fair(task, start + rest, form)


def changed(content: Any, seed: int) -> Any:
    """Return a copy in which a few places hold something odd, are gone, or stand twice."""
    made, choose = json.loads(dumps(content)), random.Random(seed)
    for _ in range(choose.randint(1, 4)):
        node: Any = made
        while True:
            keys = list(node) if isinstance(node, dict) else range(len(node))
            if not keys:
                break
            key = choose.choice(keys)
            if isinstance(node[key], (dict, list)) and node[key] and choose.random() < 0.8:
                node = node[key]
                continue
            if choose.random() < 0.3:
                del node[key]
            else:
                node[key] = copy.deepcopy(choose.choice(ODD))
            break
    return made


@pytest.mark.parametrize("seed", range(25))
def test_a_changed_visit(seed: int) -> None:
    body = json.dumps(changed(FLAT, seed)).encode()
    for task, form in (("assess", JSON), ("fhir-of-flat", FHIR), ("fhir-assess", FHIR), ("open", JSON)):
        fair(task, body, form)


@pytest.mark.parametrize("seed", range(20))
def test_a_changed_bundle(seed: int) -> None:
    body = json.dumps(changed(BUNDLE, seed)).encode()
    for task, form in (("fhir-assess", FHIR), ("read", JSON), ("open", JSON), ("validate", FHIR)):
        fair(task, body, form)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    path=st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    accept=st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=30),
)
def test_any_path_and_header(service: Service, path: str, accept: str) -> None:
    for start in ("/", "/fhir/", "/fhir/Questionnaire/", "/assets/", "/schemas/"):
        reply = service.ask("GET", start + quote(path, safe=""), accept=accept)
        assert reply.status_code in (200, 404, 405, 406), (start, path)
