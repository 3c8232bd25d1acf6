"""When the days of a visit begin and end: by the site, the visit, the birth; else all that they may be."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from layette.engine.exact.days import EAST, WEST, days_of
from layette.engine.exact.times import moment

LOCAL, UTC_TIME = "2026-11-24T19:00:00-06:00", "2026-11-25T01:00:00Z"


@pytest.mark.parametrize(
    ("at", "born", "site", "hours", "sure"),
    [
        (LOCAL, "2026-11-20", None, -6, True),
        (UTC_TIME, "2026-11-20T08:00:00-05:00", None, -5, True),
        (UTC_TIME, "2026-11-20", None, 0, False),
        (UTC_TIME, "2026-11-20T13:00:00+00:00", None, 0, False),
        (UTC_TIME, "2026-11-20", "America/Chicago", -6, True),
        (UTC_TIME, "2026-11-20T08:00", None, 0, False),
        (UTC_TIME, None, None, 0, False),
    ],
)
def test_the_zone_of_the_days(at: str, born: str | None, site: str | None, hours: int, sure: bool) -> None:
    days = days_of(at, born, site)
    when = datetime.fromisoformat(at)
    assert (when.astimezone(days.zone).utcoffset(), days.sure) == (timedelta(hours=hours), sure)


def test_a_day_of_which_nobody_knows_where_is_all_that_it_may_be() -> None:
    day = moment("2026-11-24", UTC)
    found = days_of(UTC_TIME, "2026-11-20", None).spread(day)
    assert (found.lo, found.hi) == (day.lo - EAST, day.hi + WEST)
    exact = moment(UTC_TIME, UTC)
    assert days_of(UTC_TIME, "2026-11-20", None).spread(exact) == exact


def test_the_day_of_birth_is_that_of_the_place_of_birth() -> None:
    days = days_of("2026-11-24T10:00:00-04:00", "2026-11-20T23:30:00-05:00", None)
    assert days.spread(moment("2026-11-20", days.zone)).hi > moment("2026-11-20T23:30:00-05:00", UTC).lo
    other = moment("2026-11-21", days.zone)
    assert days.spread(other) == other


def test_a_birth_in_utc_may_be_of_the_day_before() -> None:
    days = days_of("2026-11-24T10:00:00-04:00", "2026-11-21T04:30:00Z", None)
    assert days.spread(moment("2026-11-20", days.zone)).hi > moment("2026-11-21T04:30:00Z", UTC).lo
    earlier = moment("2026-11-19", days.zone)
    assert days.spread(earlier) == earlier
