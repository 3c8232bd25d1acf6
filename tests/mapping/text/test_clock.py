"""Times as the visit's own clock shows them."""

from __future__ import annotations

import pytest

from layette.engine.answer.shapes.proposed import Window
from layette.mapping.text.clock import Clock

AT = "2026-11-24T10:00:00-06:00"
CLOCK = Clock.of(AT)


def test_another_offset_or_year_is_named() -> None:
    assert CLOCK.tell("2027-01-02T08:00:00-05:00") == "Sat 2 Jan 2027, 08:00 (UTC-05:00)"
    assert CLOCK.tell("2026-11-25T08:00:00-06:00") == "Wed 25 Nov, 08:00"
    assert CLOCK.tell(AT, year=True) == "Tue 24 Nov 2026, 10:00"


def test_a_time_that_is_no_date_is_told_as_it_is_written() -> None:
    assert CLOCK.tell("age 90 h") == CLOCK.day("age 90 h") == CLOCK.hour("age 90 h") == "age 90 h"
    assert not CLOCK.today("age 90 h")


def test_the_hour_stands_alone_for_today() -> None:
    assert CLOCK.hour("2026-11-24T09:05:00-06:00") == "09:05"
    assert CLOCK.hour("2026-11-23T09:05:00-06:00") == "Mon 23 Nov, 09:05"


@pytest.mark.parametrize(
    ("start", "until", "told"),
    [
        ("2026-11-26T08:00:00-06:00", "2026-11-28T08:00:00-06:00", "Thu 26 - Sat 28 Nov"),
        ("2026-11-28T08:00:00-06:00", "2026-12-02T08:00:00-06:00", "Sat 28 Nov - Wed 2 Dec"),
        ("2026-11-23T08:00:00-06:00", "2026-11-28T08:00:00-06:00", "by Sat 28 Nov"),
        ("2026-11-26T08:00:00-06:00", "2026-11-26T18:00:00-06:00", "Thu 26 Nov"),
        ("2027-01-20T08:00:00-06:00", "2027-02-01T08:00:00-06:00", "20 Jan 2027 - 1 Feb 2027"),
        ("2026-12-28T08:00:00-06:00", "2026-12-30T08:00:00-06:00", "28 - 30 Dec"),
        ("2026-11-26T08:00:00-06:00", None, "from Thu 26 Nov"),
        (AT, None, "at the next visit"),
    ],
)
def test_a_span_of_days_is_short_and_far_ahead_without_the_day_of_the_week(
    start: str, until: str | None, told: str
) -> None:
    assert CLOCK.span(start, until) == told


@pytest.mark.parametrize(
    ("window", "told"),
    [
        (Window(until="2026-11-25T08:00:00-06:00", text="x"), "by Wed 25 Nov, 08:00"),
        (Window(until=AT, text="x"), "now"),
        (Window(start="2026-11-25T08:00:00-06:00", text="x"), "from Wed 25 Nov, 08:00"),
        (Window(start=AT, text="at the next visit"), "at the next visit"),
        (Window(until="2026-11-22T08:00:00-06:00", text="x", overdue=True), "overdue since Sun 22 Nov, 08:00"),
        (Window(text="x", overdue=True), "overdue"),
        (
            Window(until="2026-11-22T08:00:00-06:00", text="x", overdue=True, proposed="2026-11-21T08:00:00-06:00"),
            "proposed Sat 21 Nov, 08:00, never ordered: order now",
        ),
        (
            Window(until="2026-11-25T08:00:00-06:00", text="x", proposed="2026-11-21T08:00:00-06:00"),
            "by Wed 25 Nov, 08:00",
        ),
    ],
)
def test_a_window_is_told_by_its_real_times(window: Window, told: str) -> None:
    assert CLOCK.window(window) == told
