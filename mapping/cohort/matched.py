"""What was due, matched with what was done: one join, out of core."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path

import duckdb

from layette.engine.api import Pack
from layette.mapping.cohort import files
from layette.mapping.cohort.one_visit import answered_by, statuses_of

MEMORY = "1GB"

_ACTS = """
CREATE TEMP VIEW acts AS
SELECT coalesce(patient, 'visit ' || visit) AS who, * FROM read_parquet($acts);
CREATE TEMP TABLE orders AS
-- One request that several visits tell is the one that the last of them tells.
SELECT who, target, side, status, time, time_to, reference, reason FROM acts WHERE kind = 'order' AND target IS NOT NULL
QUALIFY row_number() OVER (
  PARTITION BY who, coalesce(reference, concat_ws('|', target, side, time, status)), target, side
  ORDER BY visit DESC, status) = 1;
CREATE TEMP VIEW visits AS
SELECT coalesce(patient, 'visit ' || visit) AS who, * FROM read_parquet($visits);
"""

_ANSWERS = """
CREATE TEMP TABLE asked AS
SELECT who, visit, "at", record_end, episode, any_value(kind) AS kind, any_value(target) AS target,
       any_value(side) AS side, min(window_start) AS window_start, bool_or(status = 'not on record') AS silent
FROM read_parquet($due) JOIN visits USING (visit) WHERE kind IN ('refer', 'order', 'recheck', 'guide', 'judge')
GROUP BY ALL;
CREATE TEMP TABLE answers AS
WITH found AS (
  SELECT visit, episode, a.time, a.status, a.reference, NULL AS reason, a.status = 'revoked' AS declined
  FROM asked d JOIN orders a ON a.who = d.who AND a.target = d.target
  WHERE (a.side IS NULL OR d.side IS NULL OR a.side = d.side) AND a.time_to >= d."at" AND d.kind <> 'guide'
    AND (a.status IN ('active', 'on-hold', 'completed')
         OR (a.target, a.status) IN (SELECT (target, status) FROM also_answers))
  UNION ALL
  SELECT visit, episode, a.time, a.status, a.reference, a.reason, true
  FROM asked d JOIN orders a ON a.who = d.who AND a.target = d.target
  WHERE (a.side IS NULL OR d.side IS NULL OR a.side = d.side) AND a.time_to >= d."at" AND a.status = 'revoked'
  UNION ALL
  SELECT d.visit, episode, a.time, a.status, a.reference, NULL, false
  FROM asked d JOIN acts a ON a.who = d.who AND a.target = d.target
  WHERE d.kind = 'guide' AND a.kind = 'topic' AND (a.time_to >= d."at")
  UNION ALL
  SELECT d.visit, episode, a.time, 'seen', NULL, NULL, false
  FROM asked d JOIN seen_answers s ON s.target = d.target JOIN acts a ON a.who = d.who AND a.target = s.finding
  WHERE a.kind = 'seen' AND a.visit <> d.visit AND (a.side IS NULL OR d.side IS NULL OR a.side = d.side)
    AND (d.silent OR a.time > d.record_end)
)
SELECT visit, episode, arg_min(struct_pack(time, status, reference), time) FILTER (NOT declined) AS act,
       arg_min(struct_pack(time, reference, reason), time) FILTER (declined) AS refusal
FROM found GROUP BY visit, episode;
"""

_RECOMMENDATIONS = """
SELECT d.* EXCLUDE (stood),
  CASE WHEN d.kind NOT IN ('refer', 'order', 'recheck', 'guide') THEN NULL
       WHEN act.time IS NOT NULL AND (window_until IS NULL OR act.time <= window_until) THEN 'in time'
       WHEN d.stood THEN 'stood already'
       WHEN act.time IS NOT NULL THEN 'late'
       WHEN refusal IS NOT NULL THEN 'declined'
       WHEN d.status = 'not on record' THEN NULL
       WHEN window_until < $until THEN 'missed'
       ELSE 'not yet' END AS outcome,
  coalesce(act.reference, refusal.reference) AS act,
  coalesce(act.time, refusal.time) AS act_time,
  CASE WHEN act.time IS NOT NULL THEN act.status WHEN refusal IS NOT NULL THEN 'revoked' END AS act_status,
  CASE WHEN act.time > window_until AND NOT d.stood AND d.kind IN ('refer', 'order', 'recheck', 'guide')
       THEN (epoch(act.time) - epoch(window_until)) / 86400.0 END AS days_late,
  CASE WHEN act.time IS NULL THEN refusal.reason END AS declined_reason
FROM read_parquet($due) d LEFT JOIN answers USING (visit, episode)
ORDER BY visit, episode, lead DESC, rule
"""

_UNASKED = """
WITH done AS (
  SELECT o.*, (SELECT max_by(v.visit, v."at") FROM visits v WHERE v.who = o.who AND v."at" <= o.time_to) AS visit
  FROM orders o
  WHERE o.status IN ('active', 'on-hold', 'completed')
    AND NOT EXISTS (SELECT 1 FROM asked d WHERE d.who = o.who AND d.target = o.target)
)
SELECT visit, v.clinic, v.month, v.birth_group, target, side, time, status, reference
FROM done JOIN visits v USING (visit) ORDER BY visit, target, time
"""

_OPEN = """
SELECT rule, finding, clinic, sum(visits)::BIGINT AS visits FROM read_parquet($open)
GROUP BY ALL ORDER BY rule, finding, clinic
"""


def match(out: Path, pack: Pack, record_end: int) -> None:
    """Write `recommendations` and `unasked` of the parts below ``out``, and sum `open_because`.

    Raises OSError.

    ``record_end``: the UTC second up to which the record tells; what is due later is not missed yet.
    """
    with duckdb.connect(config={"memory_limit": MEMORY, "temp_directory": str(out / "parts")}) as db:
        db.execute("SET TimeZone = 'UTC'")
        db.execute("SET threads = 2")
        db.execute("SET preserve_insertion_order = false")
        places = {name: str(out / name / "part-*.parquet") for name in ("visits", "due", "acts")}
        _pairs(db, "seen_answers", ("target", "finding"), answered_by(pack))
        _pairs(db, "also_answers", ("target", "status"), statuses_of(pack))
        for script in (_ACTS, _ANSWERS):
            _run(db, script, places)
        until = datetime.fromtimestamp(record_end, UTC)
        _copied(db, _RECOMMENDATIONS, places | {"until": until}, out / "recommendations")
        _copied(db, _UNASKED, places, out / "unasked")
        _copied(db, _OPEN, {"open": str(out / "open_parts" / "part-*.parquet")}, out / "open_because")


def _pairs(
    db: duckdb.DuckDBPyConnection, name: str, columns: tuple[str, str], pairs: Iterable[tuple[str, str]]
) -> None:
    db.execute(f"CREATE TEMP TABLE {name} ({columns[0]} TEXT, {columns[1]} TEXT)")
    rows = sorted(set(pairs))
    if rows:
        db.executemany(f"INSERT INTO {name} VALUES (?, ?)", rows)


def _run(db: duckdb.DuckDBPyConnection, script: str, given: dict[str, str]) -> None:
    """Run statements; a view takes no parameter, so that places, which are ours, are written into it."""
    for name, place in given.items():
        script = script.replace(f"${name}", _quoted(place))
    db.execute(script)


def _copied(db: duckdb.DuckDBPyConnection, query: str, given: Mapping[str, object], folder: Path) -> None:
    for name, value in given.items():
        text = _quoted(str(value)) if not isinstance(value, datetime) else f"TIMESTAMPTZ {_quoted(value.isoformat())}"
        query = query.replace(f"${name}", text)
    with files.whole(files.folder(folder) / "all.parquet") as part:
        db.execute(f"COPY ({query}) TO {_quoted(str(part))} (FORMAT parquet, COMPRESSION zstd)")


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
