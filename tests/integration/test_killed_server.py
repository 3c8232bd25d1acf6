"""A server that is killed in the middle of a post: after the retry nothing is lost and nothing is there twice."""

from __future__ import annotations

import contextlib
import http.client
import threading
import time

import pytest
from integration import visits
from integration.fhir_server import Server

from layette.mapping.fhir.json import dumps

pytestmark = [pytest.mark.interop, pytest.mark.slow, pytest.mark.xdist_group("fhir-server")]

MOMENTS = (0.01, 0.1, 0.2, 0.4, 0.6, 2.5)
"""Seconds after the post was sent; undisturbed it takes half a second to a second, so the last is after the answer."""


def post_and_forget(server: Server, transaction: str) -> threading.Thread:
    def send() -> None:
        # The connection breaks when the server is killed: that is the test.
        with contextlib.suppress(OSError, http.client.HTTPException):
            server.post(transaction)

    thread = threading.Thread(target=send)
    thread.start()
    return thread


def held(server: Server, kinds: set[str]) -> dict[str, int]:
    return {kind: len(server.all(kind)) for kind in sorted(kinds)}


@pytest.mark.parametrize("moment", MOMENTS)
def test_a_retry_after_a_kill_leaves_one_copy_of_everything(moment: float, empty_server: Server) -> None:
    transaction = visits.posted("red-reflex-hip-testis-day-6")
    wanted: dict[str, int] = {}
    for entry in transaction["entry"]:
        kind = entry["resource"]["resourceType"]
        wanted[kind] = wanted.get(kind, 0) + 1
    sending = post_and_forget(empty_server, dumps(transaction))
    time.sleep(moment)
    empty_server.kill()
    sending.join()
    empty_server.start()
    left = held(empty_server, set(wanted))
    assert left in (dict.fromkeys(wanted, 0), wanted), "a transaction is all or nothing"
    assert empty_server.post(dumps(transaction)).status == 200
    assert held(empty_server, set(wanted)) == wanted
    assert empty_server.post(dumps(transaction)).status == 200
    assert held(empty_server, set(wanted)) == wanted
