"""What is known of visits to the status of each rule by a pack, as one function from a RecordBatch to a RecordBatch."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from layette.engine.api import Pack
from layette.engine.cohort.coded import Coded, PlaneMaker, dtype_for, read_rows
from layette.engine.cohort.values import state_of
from layette.engine.logic.conditions import AllOf, variables
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
        self.codes, self.reader = pack.cohort.codes, pack.cohort.values
        rules = pack.program.rules
        nodes = [node for rule in rules for node in (rule.applies, rule.when, *rule.replacements)]
        self.asked = sorted({*variables(AllOf(tuple(nodes)))} - {*pack.program.conclusions})
        self.choices = {
            var: pack.table.values_mask(var, [choice])
            for name, choice in self.reader.plan.states.choices.items()
            for var, _ in self.reader.plan.states.variables_of.get(f"setting:{name}", ())
        }
        meanings = pack.cohort.meanings
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
            planes = PlaneMaker(self.codes.reader, len(visits)).planes(self._coded(batch), len(visits))
            codes = self.codes.of(self.codes.reader.read(planes, len(visits)))
        alone = self.alone(batch.column("whole").to_pylist())
        self._read_alone([batch.column("flat")[k].as_py() for k in alone], alone, codes)
        made = status_table(visits.to_pylist(), self.codes.rules, codes).combine_chunks()
        return pa.record_batch([column.combine_chunks() for column in made.columns], schema=made.schema)

    def _coded(self, batch: pa.RecordBatch) -> dict[int, Coded]:
        """Cut the values of each view into the cells of this pack: each value that stands there once."""
        entries, visits = self.pack.table.entries, batch.num_rows
        columns = ((var, batch.column(entries[var].view.key)) for var in self.asked if var not in self.choices)
        same = ((var, Coded(np.zeros(visits, np.uint8), (state,))) for var, state in self.choices.items())
        return dict(same) | {var: self._cells(column, var) for var, column in columns}

    def _cells(self, column: pa.Array, var: int) -> Coded:
        """Return a column in codes that go up with the cells; what is not known stands as the unknown state."""
        coded = pc.fill_null(column.cast(pa.string()), "").dictionary_encode()
        full = self.pack.program.full[var]
        found = [full if not value else state_of(value, var, self.pack) for value in coded.dictionary.to_pylist()]
        states = tuple(sorted({state for state in found if state is not None}))
        assert None not in found  # the meaning of the view is the same
        place = {state: code for code, state in enumerate(states)}
        codes = np.array([place[state] for state in found if state is not None], dtype_for(len(states)))
        return Coded(codes[coded.indices.to_numpy(zero_copy_only=False)], states)

    def _read_alone(self, flat: Sequence[bytes], places: Sequence[int], codes: Any) -> None:
        """Count visits by the states that the code of one visit makes of them."""
        if places:
            given = [self.reader.read(self.pack.read_visit(json.loads(one))).given for one in flat]
            codes[:, places] = self.codes.of(read_rows(self.codes.reader, given))
