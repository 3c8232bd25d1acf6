"""What was due as a table: most rows are columns already, the others are put among them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import compress

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from layette.engine.answer.resolved.grounds import FAR
from layette.engine.cohort.many import Due
from layette.engine.cohort.spans import KNOWN, OPEN
from layette.engine.cohort.together import SAID
from layette.engine.terms import PRIORITIES
from layette.mapping.cohort.groups import Groups
from layette.mapping.cohort.tables import DUE, GROUPS, NAME, NAMES, TIME, table

Numbers = NDArray[np.int64]


def due_table(due: Due, numbers: Sequence[int], groups: Sequence[Groups]) -> pa.Table:
    """Return the rows of what was due by visit and episode; ``numbers`` and ``groups`` are those of the visits."""
    told = [(visit, row) for visit, rows in due.rows.items() for row in rows]
    apart = table([(numbers[visit], *groups[visit], *row) for visit, row in told], DUE)
    both = pa.concat_tables([_in_columns(due, numbers, groups), apart]).unify_dictionaries().combine_chunks()
    visit = np.concatenate([due.columns.visit, np.array([visit for visit, _ in told], np.int64)])
    episode = np.concatenate([due.columns.episode, np.array([row.episode for _, row in told], np.int64)])
    return both.take(pa.array(np.lexsort((episode, visit))))


def due_of_visits(due: Due) -> dict[str, pa.Array]:
    """Return the columns of `VISITS` that tell what was due."""
    worst, number = due.asked
    visits = range(due.visits)
    apart = [due.apart.get(visit) for visit in visits]
    return {
        "worst": pa.array(worst, pa.string()).dictionary_encode().cast(NAME),
        "due": pa.array(number, pa.int32()),
        "to_judge": pa.array([due.to_judge.get(visit, ()) for visit in visits], NAMES),
        "not_on_record": pa.array(due.not_on_record, NAMES),
        "to_chase": pa.array([one.to_chase if one else () for one in apart], NAMES),
        "added_worlds": pa.array([one is not None and one.added_worlds for one in apart], pa.bool_()),
    }


def _in_columns(due: Due, numbers: Sequence[int], groups: Sequence[Groups]) -> pa.Table:
    rows, laid = due.columns, due.laid
    places = [one.place for one in laid.proposals]
    subjects = [laid.plan.pack.targets[target].subject for _, target, _ in places]
    priority = _named(rows.rank, PRIORITIES)
    columns = [
        pa.array(np.array(numbers, np.int64)[rows.visit]),
        *(_named(rows.visit, [one[k] for one in groups]) for k in range(len(GROUPS))),
        pa.array(rows.episode, pa.int32()),
        pa.array(np.ones(len(rows.visit), bool)),
        *(_named(rows.proposal, names) for names in (*zip(*places, strict=True), subjects)),
        _named(rows.rule, laid.rules),
        _named(rows.said, SAID),
        priority,
        priority,
        pa.array(rows.start, mask=rows.start == OPEN).cast(TIME),
        pa.array(rows.until, mask=rows.until == FAR).cast(TIME),
        pa.array(rows.overdue),
        _named(np.where(rows.missing == KNOWN, len(laid.missing), rows.missing), [*laid.missing, None]),
        pa.array(np.zeros(len(rows.visit), bool)),
    ]
    return pa.Table.from_arrays(columns, schema=DUE)


def _named(numbers: Numbers, names: Sequence[str | None]) -> pa.Array:
    """Return the name of each number, None or empty for none; names that none has are left out."""
    there = np.zeros(len(names), bool)
    there[numbers] = True
    used = list(dict.fromkeys(name for name in compress(names, there) if name))
    place = {name: k for k, name in enumerate(used)}
    codes = np.array([place[name] if there[k] and name else -1 for k, name in enumerate(names)], np.int32)[numbers]
    return pa.DictionaryArray.from_arrays(pa.array(codes, mask=codes < 0), pa.array(used, pa.string()))
