"""One visit: the readers against hand-written Python, the whole assessment, and bytes to bytes against fhir.resources.

Run it on a quiet machine: ``python tests/benchmarks/bench_visit.py [--rounds 400]``. It prints medians, 99th
percentiles and ratios to a baseline of the same run, and whether each ratio is within its aim. Tests are never timed.
"""

from __future__ import annotations

import argparse
import gc
import json
import statistics
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from fhir.resources.R4B.bundle import Bundle

from layette.engine.answer.assemble import assemble
from layette.engine.answer.parts.context import Context
from layette.engine.answer.resolved.due import wanted, wanted_now
from layette.engine.answer.resolved.resolve import episodes, gather
from layette.engine.api import Pack, load_pack
from layette.engine.logic.conditions import Status
from layette.engine.logic.native import NativeReader
from layette.engine.logic.readers import usual
from layette.engine.logic.rete import rete_available
from layette.mapping.fhir import json as fhir_json
from layette.mapping.read import read
from layette.mapping.write import to_bundle

sys.path.insert(0, str(Path(__file__).parent))
from plain_python import values_of, written

EXAMPLES = Path(__file__).parents[2] / "examples"


def timed(work: Callable[[], Any], rounds: int) -> tuple[float, float]:
    """Return the median and the 99th percentile of ``rounds`` runs, in microseconds."""
    for _ in range(max(3, rounds // 20)):
        work()
    gc.collect()
    found = []
    for _ in range(rounds):
        start = time.perf_counter_ns()
        work()
        found.append((time.perf_counter_ns() - start) / 1000)
    found.sort()
    return statistics.median(found), found[min(len(found) - 1, int(len(found) * 0.99))]


def in_turns(works: list[Callable[[], Any]], rounds: int) -> list[tuple[float, float]]:
    """Time several works in turns, so that a machine that slows down or is shared slows all of them alike."""
    found: list[list[float]] = [[] for _ in works]
    gc.collect()
    for _ in range(rounds):
        for work, times in zip(works, found, strict=True):
            start = time.perf_counter_ns()
            work()
            times.append((time.perf_counter_ns() - start) / 1000)
    return [(statistics.median(t), sorted(t)[int(len(t) * 0.99)]) for t in found]


def row(
    name: str, result: tuple[float, float], base: float | None = None, aim: str = "", met: bool | None = None
) -> None:
    """Print one line of the table."""
    ratio = f"{result[0] / base:8.2f} x" if base else " " * 10
    verdict = "" if met is None else ("  within the aim" if met else "  OVER THE AIM")
    print(f"{name:52s} {result[0]:10.1f} {result[1]:10.1f} {ratio}  {aim}{verdict}")


def explained(pack: Pack, reader: NativeReader, states: list[int]) -> int:
    """Read all rules and say, for each that is open, what it waits for and what alone settles it."""
    found = reader.read(states)
    return sum(
        len(pack.plan.open_rules.of(k, status, found.states).waits_for)
        for k, status in enumerate(found.statuses)
        if status is Status.UNDECIDED or status is Status.PROVISIONAL
    )


def resolved(context: Context) -> int:
    """Resolve the reasons of a decision into recommendations."""
    return sum(len(episodes(g)) for g in gather(context, wanted_now(wanted(context))).values())


def sixty(bundle: dict[str, Any]) -> dict[str, Any]:
    """Return the example with further plain Observations, so that it holds 60."""
    entries = list(bundle["entry"])
    mine = [e for e in entries if e["resource"]["resourceType"] == "Observation"]
    for k in range(60 - len(mine)):
        copy = json.loads(fhir_json.dumps(mine[k % len(mine)]))
        copy["resource"]["id"] = f"more-{k}"
        copy["fullUrl"] = f"urn:uuid:00000000-0000-4000-8000-{k:012d}"
        entries.append(copy)
    return {**bundle, "entry": entries}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=400)
    parser.add_argument("--example", default="jaundiced-sleepy-day-4.json")
    options = parser.parse_args()
    pack = load_pack()
    raw = (EXAMPLES / options.example).read_bytes()
    flat = read(fhir_json.loads(raw), pack).require().visit
    visit = pack.read_visit(flat)
    states, reader = pack.decide(visit, ["native"]).states, NativeReader(pack.program, pack.plan.states.known_variables)
    plain, _ = written(pack)
    values = values_of(pack, states)
    print(f"{len(pack.program.rules)} rules, {len(pack.program.variables)} variables, {len(visit.readings)} recordings")
    print(f"{'':52s} {'median µs':>10s} {'p99 µs':>10s} {'ratio':>10s}")
    base, native, told = in_turns(
        [lambda: plain(dict(values)), lambda: reader.read(states), lambda: explained(pack, reader, states)],
        options.rounds,
    )
    row("the same rules as hand-written Python", base)
    each = base[0] / len(pack.program.rules)
    print(f"{f'  that is {each:.3f} µs a rule; the aims in µs were set where it is 0.1':52s}")
    row("native reader: three answers, intervals", native, base[0], "aim 1 x", native[0] <= base[0])
    row("native reader with explanation of open rules", told, base[0], "aim 10 x", told[0] <= 10 * base[0])
    second_reads(pack, states, max(30, options.rounds // 4))
    one = timed(lambda: resolved(pack.decide(visit, ["native"])), options.rounds)
    row("measures, one reader, resolution", one, None, "aim 1,000 µs", one[0] <= 1000)
    both = timed(lambda: resolved(pack.decide(visit)), max(30, options.rounds // 8))
    row(f"measures, {' and '.join(usual())}, resolution", both, None, "aim 10,000 µs", both[0] <= 10_000)
    told_all = timed(
        lambda: assemble(pack.decide(visit, ["native"]), pack.readers(["native"])), max(30, options.rounds // 8)
    )
    row("the whole Assessment of a checked visit (all texts)", told_all)
    bytes_to_bytes(pack, raw, max(30, options.rounds // 8))


def second_reads(pack: Pack, states: list[int], rounds: int) -> None:
    """Compare what a second reading of the same visit costs, in times of the first."""
    names = ["native", *(["rete"] if rete_available() else []), "closures", "reference"]
    readers = pack.readers(names)
    found = in_turns([partial(reader.read, states) for reader in readers], rounds)
    for name, result in list(zip(names, found, strict=True))[1:]:
        row(f"  second reading by {name}, beside native", result, found[0][0])


def bytes_to_bytes(pack: Pack, raw: bytes, rounds: int) -> None:
    """Compare FHIR JSON in, FHIR JSON out with what fhir.resources alone costs to parse and dump the same bytes."""
    data = fhir_json.dumps(sixty(fhir_json.loads(raw))).encode()
    flat = read(fhir_json.loads(data), pack).require().visit

    def whole() -> str:
        source = fhir_json.loads(data)
        visit = read(source, pack).require().visit
        return fhir_json.dumps(to_bundle(pack.assess(visit, readers=["native"]), pack, source=source, visit=visit))

    base, done = in_turns([lambda: Bundle.model_validate_json(data).model_dump_json(), whole], rounds)
    print()
    row("fhir.resources: parse and dump the 60-Observation Bundle", base)
    row("bytes to bytes, one reader", done, base[0], "aim 2.5 x", done[0] <= 2.5 * base[0])
    source = fhir_json.loads(data)
    assessment = pack.assess(flat, readers=["native"])
    row("  parse", timed(lambda: fhir_json.loads(data), rounds))
    row("  read: FHIR to visit", timed(lambda: read(source, pack), rounds))
    row("  check the visit", timed(lambda: pack.read_visit(flat), rounds))
    row("  assess, all texts", timed(lambda: pack.assess(flat, readers=["native"]), rounds))
    row("  write: assessment to FHIR", timed(lambda: to_bundle(assessment, pack, source=source, visit=flat), rounds))


if __name__ == "__main__":
    main()
