"""Who may ask, how much, and what every reply carries."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Iterator
from typing import Any

import pytest
from support.asked_service import Service, served
from support.checkout import ROOT
from support.odd_work import odd

from layette.engine import load_pack
from layette.mapping.service.guard import HEADERS
from layette.mapping.service.limits import Limits
from layette.mapping.service.log import LOG
from layette.mapping.service.names import name_in
from layette.mapping.service.reply import REFUSALS, Refusal
from layette.mapping.validate import validate

pytestmark = pytest.mark.xdist_group("service")

SMALL = Limits(size=1000, upload=0.2)


@pytest.fixture(scope="module")
def small() -> Iterator[Service]:
    """An application that reads a thousand bytes, and does no real work."""
    pack = load_pack(ROOT / "tests/packs/small")
    with served(pack, limits=SMALL, perform=odd, names=frozenset({"127.0.0.1", "clinic.example", "::1"})) as running:
        yield running


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1:8470", 200),
        ("127.0.0.1", 200),
        ("[::1]:8470", 200),
        ("CLINIC.example", 200),
        ("clinic.example.", 200),
        ("evil.example:8470", 421),
        ("127.0.0.1.evil.example", 421),
        ("localhost", 421),
        ("127.0.0.1@evil.example", 421),
        ("clinic.example:8470:9", 421),
        ("", 421),
    ],
)
def test_a_foreign_name_is_refused(small: Service, host: str, status: int) -> None:
    for method, path in (("GET", "/"), ("GET", "/health"), ("POST", "/assess"), ("GET", "/fhir/metadata")):
        reply = small.ask(method, path, b"{}" if method == "POST" else None, host=host, content_type="application/json")
        assert reply.status_code == status, path


@pytest.mark.parametrize(
    ("origin", "status"),
    [
        ("http://127.0.0.1:8470", 200),
        ("https://127.0.0.1:8470", 200),
        ("http://127.0.0.1:3000", 403),
        ("http://127.0.0.1", 403),
        ("http://localhost:8470", 403),
        ("https://evil.example", 403),
        ("http://127.0.0.1:8470.evil.example", 403),
        ("http://127.0.0.1:8470/", 403),
        ("null", 403),
        ("", 403),
    ],
)
def test_a_page_of_another_origin_is_refused(small: Service, origin: str, status: int) -> None:
    assert small.post("/assess", b"{}", origin=origin).status_code == status
    assert small.ask("GET", "/fhir/metadata", origin=origin).status_code == status
    reply = small.ask("OPTIONS", "/assess", origin=origin, access_control_request_method="POST")
    assert reply.status_code == (405 if status == 200 else 403)
    assert [name for name in reply.headers if name.startswith("access-control-")] == []


@pytest.mark.parametrize(
    ("site", "status"), [("same-origin", 200), ("none", 200), ("same-site", 403), ("cross-site", 403)]
)
def test_what_the_browser_says_of_the_page_counts(small: Service, site: str, status: int) -> None:
    assert small.post("/assess", b"{}", sec_fetch_site=site).status_code == status
    assert small.ask("GET", "/", sec_fetch_site=site).status_code == 200, "a link may lead here"


@pytest.mark.parametrize(
    "media",
    [
        "",
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "a",
        "application/jsonx",
    ],
)
@pytest.mark.parametrize(
    "path", ["/assess", "/report", "/visits/read", "/exam/open", "/exam/fhir", "/fhir/$assess", "/fhir/$validate"]
)
def test_what_a_foreign_form_can_send_is_not_read(small: Service, path: str, media: str) -> None:
    assert small.post(path, b"{}", media).status_code == 415


def test_a_compressed_body_is_not_read(small: Service) -> None:
    assert small.post("/assess", b"{}", content_encoding="gzip").status_code == 415


@pytest.mark.parametrize(
    ("method", "path"),
    [("GET", "/"), ("GET", "/health"), ("GET", "/nothing"), ("PUT", "/assess"), ("GET", "/fhir/metadata"),
     ("POST", "/assess"), ("GET", "/openapi.json"), ("GET", "/schemas/visit.schema.json")],
)  # fmt: skip
def test_every_reply_has_the_headers(small: Service, method: str, path: str) -> None:
    for host in ("127.0.0.1", "evil.example"):
        reply = small.ask(method, path, host=host)
        assert {name: reply.headers.get(name) for name in HEADERS} == HEADERS
        assert len(reply.headers["x-request-id"]) == 12


def test_the_policy_lets_no_script_in_and_nothing_out() -> None:
    policy = dict(part.strip().split(" ", 1) for part in HEADERS["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert (policy["script-src"], policy["connect-src"]) == ("'self'", "'self'")
    assert (policy["frame-ancestors"], policy["base-uri"], policy["form-action"]) == ("'none'", "'none'", "'none'")
    allowed = {word for value in policy.values() for word in value.split()}
    assert allowed <= {"'none'", "'self'", "'unsafe-inline'", "data:", "blob:"}
    assert [name for name, value in policy.items() if "unsafe" in value] == ["style-src"]


@pytest.mark.parametrize(("path", "fhir"), [("/assess", False), ("/fhir/$assess", True)])
def test_too_large_a_body_is_refused_however_it_comes(small: Service, path: str, fhir: bool) -> None:
    async def pieces() -> Any:
        for _ in range(20):
            yield b"x" * 100

    for body in (b"x" * 1001, pieces()):
        reply = small.post(path, body)
        assert reply.status_code == 413
        assert (reply.json().get("resourceType") == "OperationOutcome") == fhir
    assert small.post("/assess", b"x" * 1000).status_code == 200


def test_a_body_that_does_not_come_is_given_up(small: Service) -> None:
    async def slowly() -> Any:
        yield b"x"
        await asyncio.sleep(60)
        yield b"x"

    assert small.post("/assess", slowly()).status_code == 408


def test_a_socket_is_closed(small: Service) -> None:
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "websocket.connect"}

    small.run(small.app({"type": "websocket", "path": "/"}, receive, send))
    assert [message["type"] for message in sent] == ["websocket.close"]


@pytest.mark.parametrize("code", REFUSALS)
def test_every_refusal_is_a_list_of_problems_or_a_valid_outcome(code: str) -> None:
    refusal = Refusal(code, "a reason", "found", "what would be right")
    plain = json.loads(refusal.reply("application/json").body)
    assert plain["problems"] == [
        {"path": "request", "code": code, "message": "a reason", "value": "found", "expected": "what would be right"}
    ]
    assert validate(json.loads(refusal.reply("application/fhir+json").body)) == []
    assert refusal.reply("application/fhir+xml").media == "application/fhir+xml"


def test_the_log_has_a_line_a_request_and_no_word_of_it(small: Service, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO, LOG.name)
    body = b'{"patient": "Patient/secret"}'
    replies = [
        small.post("/assess?page=text", body),
        small.ask("GET", "/fhir/Questionnaire/secret?url=secret"),
        small.ask("GET", "/secret/secret"),
        small.ask("SECRET", "/assess"),
        small.ask("GET", "/", host="secret.example"),
    ]
    lines = [record.getMessage().split() for record in caplog.records]
    assert [line[0] for line in lines] == [reply.headers["x-request-id"] for reply in replies]
    assert [line[1:4] for line in lines] == [
        ["POST", "/assess", "200"],
        ["GET", "/fhir/{kind}/{name}", "200"],
        ["GET", "-", "404"],
        ["-", "/assess", "405"],
        ["GET", "-", "421"],
    ]
    assert "secret" not in caplog.text.lower()
    assert all(line[5] == "ms" for line in lines)


def test_a_fault_of_ours_is_told_without_its_words(
    small: Service, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    async def broken(job: Any) -> Any:
        raise KeyError("secret")

    monkeypatch.setattr(small.pool, "ask", broken)
    for path in ("/assess", "/fhir/$assess"):
        reply = small.post(path, b"{}")
        assert reply.status_code == 500
        assert "a fault of the program" in reply.text
        assert "secret" not in reply.text + caplog.text


@pytest.mark.parametrize(
    ("host", "name"), [("A:1", "a"), ("[::1]", "::1"), ("a b", None), ("a:123456", None), ("é", None)]
)
def test_a_name_is_read_out_of_a_host(host: str, name: str | None) -> None:
    assert name_in(host) == name
