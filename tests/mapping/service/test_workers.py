"""The workers: none blocks another, one that overruns or dies is replaced, and too many are told to come later."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from typing import Any

import psutil
import pytest
from support.asked_service import Service, served
from support.checkout import ROOT
from support.odd_work import odd

from layette.engine import Pack, load_pack
from layette.mapping.service.limits import Limits
from layette.mapping.service.workers.pool import NoWorkersError, Pool
from layette.mapping.validate import validate

pytestmark = pytest.mark.xdist_group("service")

JSON = {"content_type": "application/json"}
LIMITS = Limits(seconds=5.0, waiting=2)


def small_pack() -> Pack:
    return load_pack(ROOT / "tests/packs/small")


@pytest.fixture(scope="module")
def two() -> Iterator[Service]:
    """Two workers, before which two requests may wait."""
    with served(small_pack(), 2, LIMITS, odd) as running:
        yield running


def test_a_request_that_takes_long_blocks_no_other_and_is_given_up(two: Service) -> None:
    async def both() -> tuple[Any, list[Any]]:
        slow = asyncio.create_task(two.asking("POST", "/assess", b"sleep", **JSON))
        await asyncio.sleep(0.1)
        quick = [await two.asking("POST", "/assess", b"{}", **JSON) for _ in range(5)]
        assert not slow.done()
        return await slow, quick

    slow, quick = two.run(both())
    assert [reply.status_code for reply in quick] == [200] * 5
    assert (slow.status_code, slow.json()["problems"][0]["code"]) == (503, "too-slow")
    assert int(slow.headers["retry-after"]) > 0


def processes(service: Service) -> set[int]:
    async def several() -> list[Any]:
        return await asyncio.gather(*(service.asking("POST", "/assess", b"rest", **JSON) for _ in range(4)))

    return {reply.json()["process"] for reply in service.run(several())}


def until_ready(service: Service, number: int) -> None:
    async def ready() -> None:
        while service.pool.ready < number or service.pool._idle.qsize() < number:
            await asyncio.sleep(0.05)

    service.run(asyncio.wait_for(ready(), 120))


@pytest.mark.parametrize(("body", "status", "code"), [(b"die", 500, "fault"), (b"sleep", 503, "too-slow")])
def test_a_worker_that_is_lost_is_replaced(two: Service, body: bytes, status: int, code: str) -> None:
    until_ready(two, 2)
    before = processes(two)
    reply = two.post("/assess", body)
    assert (reply.status_code, reply.json()["problems"][0]["code"]) == (status, code)
    until_ready(two, 2)
    after = processes(two)
    assert (len(before), len(after), len(before & after)) == (2, 2, 1)
    assert not psutil.pid_exists((before - after).pop())


def test_the_same_is_told_in_fhir_as_an_outcome(two: Service) -> None:
    until_ready(two, 2)
    reply = two.post("/fhir/$assess", b"sleep", "application/fhir+json")
    assert (reply.status_code, reply.json()["issue"][0]["code"]) == (503, "timeout")
    assert validate(reply.json()) == []


def test_past_the_limit_one_is_told_to_come_later(two: Service) -> None:
    until_ready(two, 2)

    async def many() -> list[Any]:
        return await asyncio.gather(*(two.asking("POST", "/assess", b"rest", **JSON) for _ in range(7)))

    replies = two.run(many())
    busy = [reply for reply in replies if reply.status_code == 503]
    assert sorted(reply.status_code for reply in replies) == [200] * 4 + [503] * 3
    assert {reply.json()["problems"][0]["code"] for reply in busy} == {"busy"}
    assert all(int(reply.headers["retry-after"]) > 0 for reply in busy)


def test_who_waits_too_long_is_told_to_come_later() -> None:
    with served(small_pack(), 1, Limits(patience=0.1, seconds=1.0), odd) as one:

        async def both() -> tuple[Any, Any]:
            slow = asyncio.create_task(one.asking("POST", "/assess", b"rest", **JSON))
            await asyncio.sleep(0.05)
            return await one.asking("POST", "/assess", b"{}", **JSON), await slow

        late, slow = one.run(both())
        assert (late.status_code, slow.status_code) == (503, 200)


def test_a_caller_who_goes_away_leaves_the_worker_for_the_next(two: Service) -> None:
    until_ready(two, 2)

    async def gone() -> None:
        left = [asyncio.create_task(two.asking("POST", "/assess", b"rest", **JSON)) for _ in range(2)]
        await asyncio.sleep(0.1)
        for task in left:
            task.cancel()
        await asyncio.gather(*left, return_exceptions=True)

    two.run(gone())
    until_ready(two, 2)
    assert len(processes(two)) == 2


def test_health_tells_how_many_there_are(two: Service) -> None:
    until_ready(two, 2)
    assert two.ask("GET", "/health").json() == {"status": "ok", "workers": 2}


def test_workers_end_with_the_server() -> None:
    with served(small_pack(), 2, LIMITS, odd) as running:
        begun = processes(running)
    assert [number for number in begun if psutil.pid_exists(number)] == []


def test_a_worker_that_cannot_begin_is_an_error() -> None:
    pool = Pool(small_pack(), 1, Limits(ready=60.0), odd)
    pool._pickled = b"no pack"
    with pytest.raises(NoWorkersError):
        asyncio.run(pool.start())
