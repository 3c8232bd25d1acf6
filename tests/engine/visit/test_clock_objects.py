"""Python's own times in a flat visit say what their text would say."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone
from typing import Any

import pytest

from layette.engine import InputError, assess, load_pack
from layette.engine.visit.sound import sound
from layette.mapping.answering import answer

CENTRAL = timezone(timedelta(hours=-5))
BORN, AT = datetime(2026, 6, 1, 8, tzinfo=CENTRAL), datetime(2026, 6, 5, 9, 30, tzinfo=CENTRAL)


def untold(*_: str) -> None:
    raise AssertionError("nothing here is unsound")


def visit(born: Any, at: Any, weighed: Any) -> dict[str, Any]:
    weight = [{"value": 3.1, "unit": "kg", "time": weighed}]
    return {"born": born, "at": at, "findings": {"weight": weight}, "sex_at_birth": "female"}


def test_an_object_is_the_text_that_it_writes() -> None:
    written = visit("2026-06-01T08:00:00-05:00", "2026-06-05T09:30:00-05:00", "2026-06-05")
    objects = visit(BORN, AT, date(2026, 6, 5))
    assert sound(objects, untold) == written
    assert assess(objects) == assess(written)
    assert assess({**written, "at": "2026-06-05T09:00:00-05:00"}, at=AT) == assess(written)


def test_text_alone_is_not_copied() -> None:
    written = visit("2026-06-01T08:00:00-05:00", "2026-06-05T09:30:00-05:00", "2026-06-05")
    assert sound(written, untold) is written


def test_a_time_without_an_offset_is_refused_like_its_text() -> None:
    with pytest.raises(InputError, match=r"^at: a time of day needs its offset"):
        assess(visit(BORN, AT.replace(tzinfo=None), AT))


def test_the_answer_in_fhir_holds_the_text() -> None:
    found = answer(visit(BORN, AT, AT), load_pack())
    assert found.visit["born"] == "2026-06-01T08:00:00-05:00"
    assert found.to_fhir(load_pack())["resourceType"] == "Bundle"
