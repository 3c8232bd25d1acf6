"""Some of the pack's rules as DuckDB SQL and as Polars expressions, written by code from the compiled conditions.

Both read a Parquet file with a code a visit and variable, null where nothing is known: a test may hold where its code
is one of those whose state meets the mask, or there is none, and must hold where it is one of those within it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import polars as pl
import pyarrow.parquet as pq
from cohort_in_codes import Codes
from numpy.typing import NDArray

from layette.engine.cohort.coded import read_coded
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, variables
from layette.engine.logic.planes import BLOCK, PlanesReader
from layette.engine.logic.program import CompiledRule, Program


def chosen(program: Program, codes: Codes, number: int) -> Program:
    """Return some rules as a program: spread over all that test no conclusion and are replaced by none."""
    plain = [rule for rule in program.rules if not rule.replacements and _all_in(rule, codes)]
    step = len(plain) / number
    rules = [plain[int(k * step)] for k in range(number)]
    bare = [CompiledRule(r.id, r.group, r.applies, r.when, r.authored) for r in rules]
    return Program(program.variables, tuple(bare))


def _all_in(rule: CompiledRule, codes: Codes) -> bool:
    asked = {*variables(AllOf((rule.applies, rule.when)))}
    return bool(asked) and asked <= codes.states.keys()


def asked_of(program: Program) -> list[int]:
    """Return the variables that the rules of a program test."""
    return sorted({var for rule in program.rules for var in variables(AllOf((rule.applies, rule.when)))})


def by_planes(program: Program, codes: Codes, place: Path) -> NDArray[np.int64]:
    """Return how often each rule must and may hold, by our reader."""
    reader, total = PlanesReader(program), np.zeros((len(program.rules), 2), np.int64)
    asked = asked_of(program)
    some = Codes({var: codes.states[var] for var in asked}, {var: codes.codes[var] for var in asked})
    batches = pq.ParquetFile(place).iter_batches(BLOCK, columns=[str(var) for var in asked])
    for found in read_coded(reader, (some.coded(batch) for batch in batches)):
        _, undecided, _, fired = found.counts().T
        total += np.stack([fired, fired + undecided], axis=1)
    return total


def by_duckdb(program: Program, codes: Codes, place: Path) -> NDArray[np.int64]:
    """Return the same, by one statement of SQL."""
    columns = [
        f"count(*) FILTER (WHERE {_sql(AllOf((rule.applies, rule.when)), must, codes, program)})"
        for rule in program.rules
        for must in (True, False)
    ]
    with duckdb.connect() as base:
        row = base.execute(f"SELECT {', '.join(columns)} FROM read_parquet(?)", [str(place)]).fetchone()
    return np.array(row, np.int64).reshape(-1, 2)


def by_polars(program: Program, codes: Codes, place: Path) -> NDArray[np.int64]:
    """Return the same, by one lazy query."""
    sums = [
        _polars(AllOf((rule.applies, rule.when)), must, codes, program).sum().alias(f"{k} {must}")
        for k, rule in enumerate(program.rules)
        for must in (True, False)
    ]
    return np.array(pl.scan_parquet(place).select(sums).collect().row(0), np.int64).reshape(-1, 2)


def _held(test: Among, must: bool, codes: Codes, full: int) -> Sequence[int]:
    """Return the codes at which a test must or may hold."""
    inside, states = test.mask & full, codes.states[test.var]
    return [k for k, state in enumerate(states) if (not state & ~inside if must else state & inside)]


def _sql(node: Node, must: bool, codes: Codes, program: Program) -> str:
    match node:
        case Among(var, mask):
            full = program.full[var]
            listed = ", ".join(map(str, _held(node, must, codes, full))) or "NULL"
            unknown = mask & full == full if must else bool(mask & full)
            return (
                f'coalesce("{var}" IN ({listed}), {unknown})'
                if listed != "NULL"
                else (f'("{var}" IS NULL AND {unknown})')
            )
        case Not(part):
            return f"NOT {_sql(part, not must, codes, program)}"
        case AllOf(parts) | AnyOf(parts):
            word, empty = (" AND ", "true") if isinstance(node, AllOf) else (" OR ", "false")
            return f"({word.join(_sql(part, must, codes, program) for part in parts) or empty})"


def _polars(node: Node, must: bool, codes: Codes, program: Program) -> Any:
    match node:
        case Among(var, mask):
            full = program.full[var]
            unknown = mask & full == full if must else bool(mask & full)
            return pl.col(str(var)).is_in(_held(node, must, codes, full)).fill_null(unknown)
        case Not(part):
            return ~_polars(part, not must, codes, program)
        case AllOf(parts):
            return pl.all_horizontal(pl.lit(True), *(_polars(part, must, codes, program) for part in parts))
        case AnyOf(parts):
            return pl.any_horizontal(pl.lit(False), *(_polars(part, must, codes, program) for part in parts))
