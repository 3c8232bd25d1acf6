"""A Bundle of 60 entries parsed, validated and written, as ratios to `fhir.resources` alone; and read into a visit.

``python tests/benchmarks/bench_fhir.py [--rounds 30]`` on a quiet machine. Tests are never timed. The baseline parses
and validates with the models of R4B (which catch a part of what our validator catches) and writes with them.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from fhir.resources.R4B.bundle import Bundle

from layette.engine import load_pack
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.fhir.xml import from_xml, to_xml
from layette.mapping.read import read
from layette.mapping.validate import errors, validate

EXAMPLES = Path(__file__).parents[2] / "examples"
EXAMPLE = EXAMPLES / "expected/jaundiced-sleepy-day-4.fhir.json"
VISIT = EXAMPLES / "jaundiced-sleepy-day-4.json"
ENTRIES = 60


def sample() -> dict[str, Any]:
    """Return a collection of the first entries of a shipped answer."""
    whole = loads(EXAMPLE.read_bytes())
    entries = [{"fullUrl": one["fullUrl"], "resource": one["resource"]} for one in whole["entry"][:ENTRIES]]
    return {"resourceType": "Bundle", "type": "collection", "entry": entries}


def milliseconds(work: Callable[[], Any], rounds: int) -> float:
    """Return the median of some runs, after one that warms up."""
    work()
    found = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        found.append((time.perf_counter() - start) * 1000)
    return statistics.median(found)


def main(rounds: int) -> None:
    """Print medians and their ratio to the baseline of the same step."""
    bundle = sample()
    text, xml = dumps(bundle), to_xml(bundle)
    model = Bundle.model_validate_json(text)
    visit, pack = loads(VISIT.read_bytes()), load_pack()
    other = "fhir.resources"
    steps: list[tuple[str, str, Callable[[], Any]]] = [
        ("read", f"{other}: parse and validate", lambda: Bundle.model_validate_json(text)),
        ("read", "JSON: parse", lambda: loads(text.encode())),
        ("read", "JSON: parse and validate", lambda: validate(loads(text.encode()))),
        ("read", "XML: parse", lambda: from_xml(xml)),
        ("read", "XML: parse and validate", lambda: validate(from_xml(xml))),
        ("read", "validate alone", lambda: validate(bundle)),
        ("write", f"{other}: write JSON", lambda: model.model_dump_json()),
        ("write", "JSON: write", lambda: dumps(bundle)),
        ("write", "XML: write", lambda: to_xml(bundle)),
        ("visit", "a visit: parse", lambda: loads(VISIT.read_bytes())),
        ("visit", "a visit: read into a flat one", lambda: read(visit, pack)),
    ]
    size = len(text.encode())
    print(f"{len(bundle['entry'])} entries, {size} bytes of JSON, {len(xml)} of XML")
    print(f"our validator finds {len(errors(validate(bundle)))} errors; median of {rounds} runs")
    base = {}
    for kind, name, work in steps:
        took = milliseconds(work, rounds)
        base.setdefault(kind, took)
        print(f"{name:36}{took:9.2f} ms  {took / base[kind]:6.2f} x")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=30)
    main(parser.parse_args().rounds)
