"""The counts of an audit's report, from its tables: per rule and per priority, over all and by group."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import duckdb

from layette.engine.terms import PRIORITIES
from layette.mapping.cohort.groups import BIRTH_GROUPS
from layette.mapping.pages.audit.hidden import Key, Sum

Period = tuple[str | None, str | None]
BY = {"clinic": "Clinic", "month": "Month", "birth_group": "Birth group"}
NOT_NAMED = "not named"
ALL = ("all", "")
NUMBER = "number"
"""The column of what is counted once and has no outcome."""
BECAME = ("done", "late", "missed", "declined")
"""What became of what was due and could be judged; they add up to `judged`."""
COLUMNS = ("due", "not yet", "judged", *BECAME)
_STATUSES = ("fired", "undecided", "ruled out")

_VISITS = """
CREATE TEMP VIEW told AS SELECT * FROM read_parquet($visits)
WHERE ($first IS NULL OR month >= $first) AND ($last IS NULL OR month <= $last);
CREATE TEMP VIEW due AS SELECT * FROM read_parquet($due)
WHERE ($first IS NULL OR month >= $first) AND ($last IS NULL OR month <= $last)
  AND kind IN ('refer', 'order', 'recheck', 'guide') AND status <> 'not on record';
"""
_BY_RULE = """
WITH one AS (
  -- A rule of both sides counts once a visit, by the worse of them.
  SELECT {of} AS rule, visit, any_value(clinic) AS clinic, any_value(month) AS month,
         any_value(birth_group) AS birth_group,
         min(CASE outcome WHEN 'missed' THEN 1 WHEN 'late' THEN 2 WHEN 'declined' THEN 3 WHEN 'not yet' THEN 4
             ELSE 5 END) AS worst
  FROM due WHERE {where} GROUP BY 1, 2)
SELECT rule, coalesce(clinic, 'not named'), month, birth_group,
       count(*), count(*) FILTER (worst = 4), count(*) FILTER (worst <> 4), count(*) FILTER (worst = 5),
       count(*) FILTER (worst = 2), count(*) FILTER (worst = 1), count(*) FILTER (worst = 3)
FROM one GROUP BY ALL
"""
_JUDGE = """
SELECT target, coalesce(clinic, 'not named'), count(*)
FROM (SELECT unnest(to_judge) AS target, clinic FROM told) GROUP BY ALL
"""
_RULES = """
SELECT rule, arg_min(rule_priority, rank) AS priority, any_value(kind), any_value(target)
FROM (SELECT *, list_position($ranks, rule_priority) AS rank FROM due) GROUP BY rule
"""


@dataclass
class Counts:
    """What is counted of one rule, or of all that one priority asks: by group of visits and column.

    ``counts`` under ``(dimension, group, column)``, over all under ``("all", "", column)``; ``sums`` says which of
    them add up. ``groups``: the groups of each dimension, in order.
    """

    name: str
    priority: str = "routine"
    kind: str = ""
    target: str = ""
    counts: dict[Key, int] = field(default_factory=dict)
    sums: list[Sum] = field(default_factory=list)
    groups: dict[str, list[str]] = field(default_factory=dict)
    because: list[tuple[str, int]] = field(default_factory=list)

    def add(self, groups: Mapping[str, str], numbers: Sequence[int]) -> None:
        """Add the counts of one cell of all groups."""
        for place in (ALL, *groups.items()):
            for column, number in zip(COLUMNS, numbers, strict=True):
                key = (*place, column)
                self.counts[key] = self.counts.get(key, 0) + number

    def close(self) -> None:
        """Write down which groups there are and what adds up."""
        self.groups = {by: sorted({key[1] for key in self.counts if key[0] == by}, key=_order) for by in BY}
        places = [ALL, *((by, group) for by, groups in self.groups.items() for group in groups)]
        for place in places if self.counts else ():
            self.sums.append(((*place, "due"), ((*place, "not yet"), (*place, "judged"))))
            self.sums.append(((*place, "judged"), tuple((*place, one) for one in BECAME)))
        for by, groups in self.groups.items():
            for column in COLUMNS if groups else ():
                self.sums.append(((*ALL, column), tuple((by, group, column) for group in groups)))

    def answered(self, visits: int, applies: int, statuses: Sequence[int]) -> None:
        """Add how the rule was answered at all visits: what follows from what is printed is counted too."""
        counts, here = self.counts, dict(zip(_STATUSES, statuses, strict=True))
        counts.update({("visits",): visits, ("eligible",): applies, ("not for them",): visits - applies})
        counts.update({(name,): number for name, number in here.items()})
        self.sums.append((("visits",), (("eligible",), ("not for them",))))
        self.sums.append((("eligible",), tuple((name,) for name in _STATUSES)))
        rest = here["fired"] - counts.get((*ALL, "due"), 0)
        if rest >= 0 and (*ALL, "due") in counts:
            counts[("fired", "and asked nothing")] = rest
            self.sums.append((("fired",), ((*ALL, "due"), ("fired", "and asked nothing"))))


@dataclass(frozen=True)
class Counted:
    """All that the report counts; ``months`` the first and last there is, ``judge`` the values that a person judges."""

    visits: int
    months: tuple[str, str]
    silent: int
    classes: list[Counts]
    rules: list[Counts]
    judge: list[Counts]
    unasked: list[Counts]


def counted(out: Path, period: Period = (None, None)) -> Counted:
    """Count the tables of an audit: rules by their priority, the most missed first. Raises OSError, duckdb.Error."""
    with duckdb.connect() as base:
        base.execute("SET TimeZone = 'UTC'")
        _views(base, out, period)
        [(visits, first, last)] = base.execute("SELECT count(*), min(month), max(month) FROM told").fetchall()
        [(silent,)] = base.execute("SELECT count(*) FROM told WHERE len(not_on_record) > 0").fetchall()
        classes = _due(base, "priority", "lead AND kind <> 'guide'")
        rules = _due(base, "rule", "true")
        for rule, priority, kind, target in base.execute(_RULES, {"ranks": list(PRIORITIES)}).fetchall():
            one = rules[rule]
            one.priority, one.kind, one.target = priority, kind, target
        for one in (*classes.values(), *rules.values()):
            one.close()
        _answers(base, out, rules, whole=period == (None, None))
        judge = _by_clinic(base.execute(_JUDGE).fetchall())
        unasked = _unasked(base, out, period)
    ranked = [classes[name] for name in PRIORITIES if name in classes]
    return Counted(visits, (first or "", last or ""), silent, ranked, sorted(rules.values(), key=_rank), judge, unasked)


def _views(base: Any, out: Path, period: Period) -> None:
    first, last = ("NULL" if month is None else "'" + month.replace("'", "") + "'" for month in period)
    script = _VISITS.replace("$first", first).replace("$last", last)
    for name, folder in (("$visits", "visits"), ("$due", "recommendations")):
        script = script.replace(name, "'" + str(out / folder / "*.parquet").replace("'", "''") + "'")
    base.execute(script)


def _due(base: Any, of: str, where: str) -> dict[str, Counts]:
    found: dict[str, Counts] = {}
    for name, clinic, month, birth_group, *numbers in base.execute(_BY_RULE.format(of=of, where=where)).fetchall():
        groups = dict(zip(BY, (clinic, month, birth_group), strict=True))
        found.setdefault(name, Counts(name, name if of == "priority" else "routine")).add(groups, numbers)
    return found


def _answers(base: Any, out: Path, rules: dict[str, Counts], whole: bool) -> None:
    statuses = base.execute(
        "SELECT rule, sum(visits)::BIGINT, sum(visits - not_applicable)::BIGINT, sum(fired + provisional)::BIGINT, "
        "sum(undecided)::BIGINT, sum(ruled_out)::BIGINT FROM read_parquet(?) GROUP BY rule",
        [str(out / "rule_counts" / "*.parquet")],
    ).fetchall()
    for rule, visits, applies, *numbers in statuses:
        rules.setdefault(rule, Counts(rule)).answered(visits, applies, numbers)  # Also one that asked for nothing.
    if whole and any((out / "open_because").glob("*.parquet")):
        open_because = base.execute(
            "SELECT rule, finding, sum(visits)::BIGINT AS n FROM read_parquet(?) GROUP BY ALL ORDER BY n DESC, finding",
            [str(out / "open_because" / "*.parquet")],
        ).fetchall()
        for rule, finding, number in open_because:
            if rule in rules:
                rules[rule].because.append((finding, number))


def _unasked(base: Any, out: Path, period: Period) -> list[Counts]:
    """Return per target how many orders no recommendation asks for, over all and by clinic."""
    if not any((out / "unasked").glob("*.parquet")):
        return []
    first, last = period
    found = base.execute(
        "SELECT target, coalesce(clinic, 'not named'), count(*) FROM read_parquet($unasked) "
        "WHERE ($first IS NULL OR month >= $first) AND ($last IS NULL OR month <= $last) GROUP BY ALL",
        {"unasked": str(out / "unasked" / "*.parquet"), "first": first, "last": last},
    ).fetchall()
    return _by_clinic(found)


def _by_clinic(rows: Iterable[tuple[str, str, int]]) -> list[Counts]:
    """Return one count per target, over all and by clinic, the most frequent first."""
    found: dict[str, Counts] = {}
    for target, clinic, number in rows:
        one = found.setdefault(target, Counts(target, target=target))
        for place in (ALL, ("clinic", clinic)):
            one.counts[(*place, NUMBER)] = one.counts.get((*place, NUMBER), 0) + number
    for one in found.values():
        one.groups = {"clinic": sorted(key[1] for key in one.counts if key[0] == "clinic")}
        one.sums.append(((*ALL, NUMBER), tuple(("clinic", group, NUMBER) for group in one.groups["clinic"])))
    return sorted(found.values(), key=lambda one: (-one.counts[(*ALL, NUMBER)], one.name))


def _order(group: str) -> tuple[int, str]:
    return (BIRTH_GROUPS.index(group) if group in BIRTH_GROUPS else 0), group


def _rank(one: Counts) -> tuple[Any, ...]:
    counts = one.counts
    return one.kind == "guide", PRIORITIES.index(one.priority), -counts.get((*ALL, "missed"), 0), one.name
