"""All rules of the pack over a million visits in codes, beside the reader of one visit in a loop.

The visits are states of the worked cases, drawn with replacement and made partly unknown again, so that no two blocks
are alike. Figures are seconds of CPU of this process: other work on the machine does not count.

    .venv/bin/python tests/benchmarks/bench_planes.py --visits 1000000
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layette.engine.api import Pack, load_pack
from layette.engine.cases.written import read_cases
from layette.engine.logic.native import NativeReader
from layette.engine.logic.planes import STATUSES, Plane, PlanesReader, planes_of_masks
from layette.engine.states.facts import Facts

LOOPED = 2_000
"""Visits that the reader of one visit reads, for comparison."""


def states_of_cases(pack: Pack) -> NDArray[np.uint64]:
    """Return the states of every worked case, a row each."""
    plan, rows = pack.plan.states, []
    for case in read_cases(pack)[0]:
        visit = pack.visit_reader().attempt(case.shape.given)
        if visit is not None:
            rows.append(Facts(plan, visit, {**plan.choices, **visit.settings}).states)
    return np.array(rows, np.uint64)


def cohort(pack: Pack, visits: int) -> NDArray[np.uint64]:
    """Return the states of a cohort, a row a variable; a tenth of what is known is taken away again."""
    rng, rows = np.random.default_rng(1), states_of_cases(pack).T
    full = np.array(pack.program.full, np.uint64)
    drawn = rng.integers(0, rows.shape[1], visits)
    states = np.empty((len(full), visits), np.uint64)
    for var, one in enumerate(full):
        states[var] = rows[var][drawn]
        states[var][rng.random(visits, np.float32) < 0.1] = one
    return states


def timed(act: Callable[..., Any], *given: Any) -> tuple[float, Any]:
    """Return the seconds of CPU that something took, and what it gave."""
    begun = time.process_time()
    found = act(*given)
    return time.process_time() - begun, found


def planes_of(pack: Pack, states: NDArray[np.uint64]) -> dict[int, list[Plane]]:
    """Return the planes of all variables that are given."""
    variables = enumerate(pack.program.variables)
    given = [(k, len(v.atoms)) for k, v in variables if k not in pack.program.conclusions]
    return {k: planes_of_masks(states[k], atoms) for k, atoms in given}


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--visits", type=int, default=1_000_000)
    visits = parser.parse_args().visits
    pack = load_pack()
    program, part = pack.program, min(visits, 131_072)
    made, reader = timed(PlanesReader, program)
    acts = sum(op.word != "atom" for op in (reader.code.ops[k] for k in reader.code.needed()))
    print(f"{len(program.rules)} rules, {acts} operations, written down in {made:.2f} s")
    filled = ruled = counted = 0.0
    for begin in range(0, visits, part):
        states = cohort(pack, min(part, visits - begin))
        size = states.shape[1]
        took, planes = timed(planes_of, pack, states)
        filled += took
        took, found = timed(reader.read, planes, size)
        ruled += took
        counted += timed(found.counts)[0]
    for words, seconds in (("filling planes", filled), ("rules", ruled), ("counts", counted)):
        print(f"{words:<16}{seconds / visits * 1e6:8.3f} us a visit")
    looped = min(LOOPED, size)
    rows = [[int(state) for state in states[:, v]] for v in range(looped)]
    native = NativeReader(program, pack.plan.states.known_variables)
    took, readings = timed(lambda: [native.read(row) for row in rows])
    each = took / looped
    print(f"{'native, looped':<16}{each * 1e6:8.3f} us a visit: {each / (ruled / visits):.0f} times the rules")
    wrong = 0
    for number in range(len(program.rules)):
        codes = found.codes(number)
        wrong += sum(STATUSES[codes[v]] is not readings[v].statuses[number] for v in range(looped))
    print(f"{wrong} of {looped * len(program.rules):,} answers differ")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
