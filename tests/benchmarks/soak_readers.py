"""Read very many random visits with the two usual readers: they must agree, and memory must not grow.

    PYTHONPATH=tests python tests/benchmarks/soak_readers.py --visits 200000

Exits 1 on the first disagreement, or if resident memory grew by more than the allowance after warm-up.
"""

from __future__ import annotations

import argparse
import importlib.util
import random
import sys
import time

from support.program_strategies import random_program, random_visit

from layette.engine.errors import ReadersDisagree
from layette.engine.logic.agree import read_twice
from layette.engine.logic.readers import build, usual

STEP = 20_000
"""Visits between two lines of the log; the first step is warm-up."""


def main() -> int:
    options = arguments()
    print(f"readers: {' and '.join(usual())}")
    try:
        grown = soak(options.visits, options.rules, options.seed)
    except ReadersDisagree as disagreement:
        print(disagreement)
        return 1
    print(f"memory grew by {grown:.1f} MB after warm-up; allowed {options.allow} MB")
    return int(grown > options.allow)


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--visits", type=int, default=200_000)
    parser.add_argument("--rules", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--allow", type=float, default=30, help="MB that resident memory may grow after warm-up")
    return parser.parse_args()


def soak(visits: int, rules: int, seed: int) -> float:
    """Return by how many MB resident memory grew after the first step."""
    rng = random.Random(seed)
    program = random_program(rng, findings=80, rules=rules, depth=2)
    readers = [build(name, program) for name in usual()]
    priorities = [None] * len(program.rules)
    started, warm = time.perf_counter(), resident()
    log(0, started)
    for done in range(1, visits + 1):
        read_twice(readers, program, random_visit(rng, program), priorities)
        if done % STEP == 0 or done == visits:
            log(done, started)
        if done == min(STEP, max(1, visits // 10)):
            warm = resident()
    return resident() - warm


def resident() -> float:
    """Resident memory in MB; without psutil its peak, which grows no less."""
    if importlib.util.find_spec("psutil"):
        import psutil

        return float(psutil.Process().memory_info().rss / 1e6)
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1e6 if sys.platform == "darwin" else 1e3)


def log(done: int, started: float) -> None:
    print(f"{done:>8} visits  {resident():7.1f} MB  {time.perf_counter() - started:6.0f} s", flush=True)


if __name__ == "__main__":
    sys.exit(main())
