"""What is to be judged, by value: a person judges a value once, whatever hangs on it and for whatever reasons."""

from __future__ import annotations

from collections.abc import Iterable

from layette.engine.answer.shapes.proposed import ToJudge


def by_value(items: Iterable[ToJudge]) -> list[list[ToJudge]]:
    """Return together the items that share a recorded value; order is kept, of a group that of its first."""
    groups: list[list[ToJudge]] = []
    for one in items:
        meeting = [group for group in groups if any(_share_a_value(one, other) for other in group)]
        joined = [*(item for group in meeting for item in group), one]
        if meeting:
            groups[groups.index(meeting[0])] = joined
            groups = [group for group in groups if all(group is not later for later in meeting[1:])]
        else:
            groups.append(joined)
    return groups


def _share_a_value(one: ToJudge, other: ToJudge) -> bool:
    """Whether both read one thing of one moment; what has no time is a line that values are read on."""
    told = {(used.label, used.time) for used in one.values if used.time}
    return any((used.label, used.time) in told for used in other.values)
