"""Counting an audit again by another pack, from the values of its views."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from layette.engine.api import Pack
from layette.engine.cohort.counted import RuleCodes, planes_of
from layette.engine.cohort.meaning import Meanings
from layette.engine.cohort.values import ValueReader, state_of
from layette.engine.forked import shared_out
from layette.engine.logic.conditions import AllOf, variables
from layette.engine.logic.planes import Plane, plane_of
from layette.mapping.cohort import files
from layette.mapping.cohort.tables import MEANINGS, status_table


class Recount(NamedTuple):
    """How many visits were counted, how many of them one by one, and the views that want reading again."""

    visits: int
    one_by_one: int
    anew: tuple[str, ...]


class Recounter:
    """Counts the parts of an audit by another pack."""

    def __init__(self, pack: Pack, to: Path) -> None:
        """Count by ``pack``, and write its statuses below ``to``."""
        self.pack, self.to = pack, to
        self.codes = RuleCodes(pack)
        self.reader = ValueReader(pack)
        self.meanings = Meanings(self.reader.plan.states).all()
        rules = pack.program.rules
        nodes = [node for rule in rules for node in (rule.applies, rule.when, *rule.replacements)]
        self.asked = sorted({*variables(AllOf(tuple(nodes)))} - {*pack.program.conclusions})
        self.choices = {
            var: pack.table.values_mask(var, [choice])
            for name, choice in self.reader.plan.states.choices.items()
            for var, _ in self.reader.plan.states.variables_of.get(f"setting:{name}", ())
        }

    def anew(self, meta: dict[str, str]) -> tuple[str, ...]:
        """Return the views that this pack asks and an audit does not hold, or holds with another meaning."""
        keys = [self.pack.table.entries[var].view.key for var in self.asked if var not in self.choices]
        return tuple(key for key in keys if meta.get(key) != self.meanings[key])

    def part(self, out: Path, name: str) -> Recount:
        """Count one part, and write its statuses. Raises OSError."""
        held = pq.read_table(out / "values" / name)
        numbers, anew = held["visit"].to_pylist(), self.anew(_meanings(held))
        codes = np.zeros((len(self.codes.rules), len(numbers)), np.uint8)
        if not anew:
            codes = self.codes.of(self.codes.reader.read(self._planes(held), len(numbers)))
        alone = [k for k, whole in enumerate(held["whole"].to_pylist()) if anew or whole]
        self._read_alone(out / "flat" / name, alone, codes)
        files.write_table(status_table(numbers, self.codes.rules, codes), self.to / "statuses" / name)
        return Recount(len(numbers), len(alone), anew)

    def _planes(self, held: pa.Table) -> dict[int, list[Plane]]:
        """Cut the values of each view into the cells of this pack: each value that stands there once."""
        visits, made = len(held), {}
        for var in self.asked:
            atoms = len(self.pack.program.variables[var].atoms)
            if var in self.choices:
                each = np.array([self.choices[var]], object)
                places = np.zeros(visits, np.int64)
            else:
                each, places = self._states(held[self.pack.table.entries[var].view.key], var)
            bits = ((int(state) >> k & 1 for state in each) for k in range(atoms))
            made[var] = [plane_of(np.fromiter(one, bool, len(each))[places]) for one in bits]
        return made

    def _states(self, column: pa.ChunkedArray, var: int) -> tuple[Any, Any]:
        """Return the states that stand in a column, the unknown one first, and the place of each visit's."""
        coded = pc.fill_null(column.combine_chunks().cast(pa.string()), "").dictionary_encode()
        full = self.pack.program.full[var]
        states = [full if not value else state_of(value, var, self.pack) for value in coded.dictionary.to_pylist()]
        assert None not in states  # the meaning of the view is the same
        return states, coded.indices.to_numpy(zero_copy_only=False)

    def _read_alone(self, place: Path, alone: Sequence[int], codes: Any) -> None:
        """Count visits by the states that the code of one visit makes of them."""
        if not alone:
            return
        flat = pq.read_table(place, columns=["flat"])["flat"]
        visits = [self.pack.read_visit(json.loads(flat[k].as_py())) for k in alone]
        given = [self.reader.read(visit).given for visit in visits]
        reading = self.codes.reader.read(planes_of(self.pack.program, given), len(given))
        codes[:, alone] = self.codes.of(reading)


def _meanings(held: pa.Table) -> dict[str, str]:
    found: dict[str, str] = json.loads((held.schema.metadata or {}).get(MEANINGS, b"{}"))
    return found


def count_again(out: Path, pack: Pack, to: Path, workers: int = 1) -> Recount:
    """Write the `statuses` of an audit's visits under another pack below ``to``. Raises OSError."""
    files.folder(files.folder(to) / "statuses")
    for left in (to / "statuses").glob("*.parquet"):
        left.unlink()
    recounter = Recounter(pack, to)
    parts = sorted(place.name for place in (out / "values").glob("part-*.parquet"))
    found = shared_out(lambda name: recounter.part(out, name), parts, workers)
    views = dict.fromkeys(view for one in found for view in one.anew)
    return Recount(sum(one.visits for one in found), sum(one.one_by_one for one in found), tuple(views))
