"""What is known of visits to the status of each rule by a pack, as one function from a RecordBatch to a RecordBatch."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from layette.engine.api import Pack
from layette.engine.cohort.counted import RuleCodes, planes_of
from layette.engine.cohort.meaning import Meanings
from layette.engine.cohort.values import ValueReader, state_of
from layette.engine.logic.conditions import AllOf, variables
from layette.engine.logic.planes import Plane, plane_of
from layette.mapping.cohort.tables import status_table


class Count:
    """Counts visits by one pack: a batch of `values`, with `flat` beside it, to a batch of `statuses`.

    Columns that go in: ``visit``, ``whole``, ``flat`` (the visit as it was read; null where it is not wanted, see
    `alone`) and a column a view. Columns that come out: ``visit``, and one a rule. ``held``: the meanings of the views
    in the audit, by key; ``anew``: the views that the pack asks and the audit does not hold, or means otherwise.
    """

    def __init__(self, pack: Pack, held: Mapping[str, str]) -> None:
        """Count by ``pack``."""
        self.pack, self.held = pack, held
        self.codes = RuleCodes(pack)
        self.reader = ValueReader(pack)
        rules = pack.program.rules
        nodes = [node for rule in rules for node in (rule.applies, rule.when, *rule.replacements)]
        self.asked = sorted({*variables(AllOf(tuple(nodes)))} - {*pack.program.conclusions})
        self.choices = {
            var: pack.table.values_mask(var, [choice])
            for name, choice in self.reader.plan.states.choices.items()
            for var, _ in self.reader.plan.states.variables_of.get(f"setting:{name}", ())
        }
        meanings = Meanings(self.reader.plan.states).all()
        self.views = [pack.table.entries[var].view.key for var in self.asked if var not in self.choices]
        self.anew = tuple(key for key in self.views if held.get(key) != meanings[key])

    @property
    def columns(self) -> list[str]:
        """The columns of `values` that are read; with a view to read anew, none of a view."""
        return ["visit", "whole", *([] if self.anew else self.views)]

    def alone(self, whole: Sequence[bool]) -> list[int]:
        """Return the places of the visits that are counted from `flat`."""
        return [k for k, one in enumerate(whole) if self.anew or one]

    def __call__(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        """Return the status of each rule at each visit. Raises `InputError` where the pack does not read a visit."""
        visits = batch.column("visit")
        codes = np.zeros((len(self.codes.rules), len(visits)), np.uint8)
        if not self.anew:
            codes = self.codes.of(self.codes.reader.read(self._planes(batch), len(visits)))
        alone = self.alone(batch.column("whole").to_pylist())
        self._read_alone([batch.column("flat")[k].as_py() for k in alone], alone, codes)
        made = status_table(visits.to_pylist(), self.codes.rules, codes).combine_chunks()
        return pa.record_batch([column.combine_chunks() for column in made.columns], schema=made.schema)

    def _planes(self, batch: pa.RecordBatch) -> dict[int, list[Plane]]:
        """Cut the values of each view into the cells of this pack: each value that stands there once."""
        visits, made = batch.num_rows, {}
        for var in self.asked:
            atoms = len(self.pack.program.variables[var].atoms)
            if var in self.choices:
                each = np.array([self.choices[var]], object)
                places = np.zeros(visits, np.int64)
            else:
                each, places = self._states(batch.column(self.pack.table.entries[var].view.key), var)
            bits = ((int(state) >> k & 1 for state in each) for k in range(atoms))
            made[var] = [plane_of(np.fromiter(one, bool, len(each))[places]) for one in bits]
        return made

    def _states(self, column: pa.Array, var: int) -> tuple[Any, Any]:
        """Return the states that stand in a column, the unknown one first, and the place of each visit's."""
        coded = pc.fill_null(column.cast(pa.string()), "").dictionary_encode()
        full = self.pack.program.full[var]
        states = [full if not value else state_of(value, var, self.pack) for value in coded.dictionary.to_pylist()]
        assert None not in states  # the meaning of the view is the same
        return states, coded.indices.to_numpy(zero_copy_only=False)

    def _read_alone(self, flat: Sequence[bytes], places: Sequence[int], codes: Any) -> None:
        """Count visits by the states that the code of one visit makes of them."""
        if places:
            given = [self.reader.read(self.pack.read_visit(json.loads(one))).given for one in flat]
            reading = self.codes.reader.read(planes_of(self.pack.program, given), len(given))
            codes[:, places] = self.codes.of(reading)
