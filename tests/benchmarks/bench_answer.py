"""The figures of one visit's answer, in turns with what the same bytes cost elsewhere.

Run it on a quiet machine: ``python tests/benchmarks/bench_answer.py [--rounds 100]``. Times are CPU time of this
process; on a busy or slow machine the ratios hold, and the milliseconds do not. Each line has the native reader, with
both readers beside it. The pack is settled first, as the command does it. Tests are never timed.
"""

from __future__ import annotations

import argparse
import gc
import json
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import orjson
from fhir.resources.R4B.bundle import Bundle

from layette.engine.api import Pack, load_pack
from layette.mapping.fhir import json as fhir_json
from layette.mapping.read import read
from layette.mapping.settle import settle
from layette.mapping.write import to_bundle

sys.path.insert(0, str(Path(__file__).parent))
from bench_visit import EXAMPLES, sixty

Work = Callable[[], object]


class Times(NamedTuple):
    """Milliseconds of CPU time: the median, and what 99 of 100 runs stay under."""

    median: float
    p99: float


def in_turns(works: Sequence[Work], rounds: int) -> list[Times]:
    """Time several works in turns, so that a machine that slows down slows all of them alike."""
    found: list[list[float]] = [[] for _ in works]
    for work in works:
        work()
    gc.collect()
    for _ in range(rounds):
        for work, times in zip(works, found, strict=True):
            start = time.process_time_ns()
            work()
            times.append((time.process_time_ns() - start) / 1e6)
    return [Times(statistics.median(t), sorted(t)[min(len(t) - 1, int(len(t) * 0.99))]) for t in found]


def bytes_to_bytes(pack: Pack, data: bytes, readers: Sequence[str] | None) -> str:
    """FHIR JSON in, what a person acts on as FHIR JSON out."""
    source = fhir_json.loads(data)
    visit = read(source, pack).require().visit
    answer = pack.assess(visit, readers=readers)
    return fhir_json.dumps(to_bundle(answer, pack, source=source, visit=visit, parts="care"))


def line(name: str, native: float, both: float | None, unit: str, aim: float) -> None:
    """Print one figure beside its aim."""
    beside = "" if both is None else f"{both:9.2f}"
    print(f"{name:58s} {native:8.2f} {beside:>9s} {unit:3s} aim {aim:5.2f}  {'met' if native <= aim else 'OVER'}")


def main(rounds: int) -> None:
    """Print the five lines."""
    pack, native = load_pack(), ["native"]
    settle()
    raw = (EXAMPLES / "jaundiced-sleepy-day-4.json").read_bytes()
    flat: dict[str, Any] = read(fhir_json.loads(raw), pack).require().visit
    data = fhir_json.dumps(sixty(fhir_json.loads(raw))).encode()
    out = json.loads(bytes_to_bytes(pack, data, native))
    checked = pack.read_visit(flat)
    works: list[Work] = [
        lambda: pack.assess(checked, readers=native),
        lambda: pack.assess(checked),
        lambda: pack.assess(checked, readers=native).to_json(),
        lambda: pack.read_visit(flat),
        lambda: bytes_to_bytes(pack, data, native),
        lambda: bytes_to_bytes(pack, data, None),
        lambda: Bundle.model_validate_json(data).model_dump_json(),
        lambda: (orjson.loads(data), orjson.dumps(out)),
    ]
    answer, answer_2, printed, check, whole, whole_2, models, floor = in_turns(works, rounds)
    print(f"{'':58s} {'native':>8s} {'both':>9s}")
    line("whole Assessment, without detail", answer.median, answer_2.median, "ms", 3)
    line("  printed as JSON, with what is made when looked at", printed.median, None, "ms", 3)
    line("  p99 / median, native and both", answer.p99 / answer.median, answer_2.p99 / answer_2.median, "x", 1.3)
    line("check of a flat visit", check.median, None, "ms", 0.3)
    line("60 Observations, FHIR JSON to FHIR JSON", whole.median, whole_2.median, "ms", 12)
    line("  beside fhir.resources parse + dump", whole.median / models.median, whole_2.median / models.median, "x", 0.6)
    line("  beside orjson.loads + dumps", whole.median / floor.median, whole_2.median / floor.median, "x", 25)
    line("  p99 / median, native and both", whole.p99 / whole.median, whole_2.p99 / whole_2.median, "x", 1.3)
    print(f"fhir.resources {models.median:.2f} ms, orjson {floor.median:.2f} ms, {len(data)} bytes in")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=100)
    main(parser.parse_args().rounds)
