"""All rules of the pack over a million visits in codes, from Arrow to counts, beside the reader of one visit in a loop.

Figures are seconds of CPU of this process: other work on the machine counts only by what it takes of the caches. The
best block is told beside the mean, since a busy machine doubles the mean.

    .venv/bin/python tests/benchmarks/bench_planes.py --visits 1000000
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable
from typing import Any, NamedTuple

from cohort_in_codes import Codes

from layette.engine.api import Pack, load_pack
from layette.engine.cohort.coded import PlaneMaker
from layette.engine.logic.conditions import STATUSES
from layette.engine.logic.native import NativeReader
from layette.engine.logic.planes import BLOCK, CohortReading, PlanesReader

LOOPED = 2_000
"""Visits that the reader of one visit reads, for comparison."""
STEPS = ("filling planes", "rules", "counts")


def timed(act: Callable[..., Any], *given: Any) -> tuple[float, Any]:
    """Return the seconds of CPU that something took, and what it gave."""
    begun = time.process_time()
    found = act(*given)
    return time.process_time() - begun, found


class Took(NamedTuple):
    """Microseconds a visit of one step: over all blocks, and of the best whole one."""

    mean: float
    best: float


def measured(codes: Codes, reader: PlanesReader, visits: int) -> tuple[dict[str, Took], Any, CohortReading]:
    """Return what each step takes over so many visits, the last block and what was read of it."""
    seconds: dict[str, list[float]] = {step: [] for step in STEPS}
    maker, waiting = PlaneMaker(reader), []
    readings = reader.read_blocks(iter(waiting.pop, None))
    for block in codes.blocks(visits):
        filling, planes = timed(lambda block=block: maker.planes(*codes.coded(block)))
        waiting.append((planes, len(block)))
        ruling, found = timed(next, readings)
        counting, _ = timed(found.counts)
        for step, took in zip(STEPS, (filling, ruling, counting), strict=True):
            seconds[step].append(took)
    whole = visits // BLOCK or 1
    took = {
        step: Took(sum(all_of) / visits * 1e6, min(all_of[:whole]) / min(visits, BLOCK) * 1e6)
        for step, all_of in seconds.items()
    }
    return took, block, found


def looped(pack: Pack, codes: Codes, block: Any, found: CohortReading) -> tuple[float, int]:
    """Return the microseconds a visit of the reader of one visit, and in how many answers the two differ."""
    rows = codes.states_at(block, min(LOOPED, len(block)), pack.program.full)
    native = NativeReader(pack.program, pack.plan.states.known_variables)
    took, readings = timed(lambda: [native.read(row) for row in rows])
    wrong = 0
    for number in range(len(pack.program.rules)):
        told = found.codes(number)
        wrong += sum(STATUSES[told[v]] is not one.statuses[number] for v, one in enumerate(readings))
    return took / len(rows) * 1e6, wrong


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--visits", type=int, default=1_000_000)
    visits = parser.parse_args().visits
    pack = load_pack()
    codes = Codes.of(pack)
    made, reader = timed(PlanesReader, pack.program)
    acts = sum(op.word not in ("may", "must") for op in (reader.code.ops[k] for k in reader.code.needed()))
    print(f"{len(pack.program.rules)} rules, {acts} operations, written down in {made:.2f} s; blocks of {BLOCK:,}")
    took, block, found = measured(codes, reader, visits)
    for step in STEPS:
        print(f"{step:<16}{took[step].mean:8.3f} us a visit, best block {took[step].best:6.3f}")
    each, wrong = looped(pack, codes, block, found)
    mean, best = (sum(part) for part in zip(*took.values(), strict=True))
    print(f"{'Arrow to counts':<16}{mean:8.3f} us a visit, best blocks {best:5.3f}")
    print(f"{'native, looped':<16}{each:8.3f} us a visit: {each / took['rules'].mean:.0f} times the rules")
    print(f"{wrong} of {min(LOOPED, len(block)) * len(pack.program.rules):,} answers differ")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB")


if __name__ == "__main__":
    main()
