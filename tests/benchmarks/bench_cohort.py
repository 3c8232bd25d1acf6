"""A cohort from lines to counts, beside other ways to the same, and how time and memory grow: all in one run.

Figures are seconds of CPU of this process, all its threads: other work on the machine counts only by what it takes of
the caches and of shared cores. What an empty turn of a loop takes stands first, since it tells how busy the machine is.

    .venv/bin/python tests/benchmarks/bench_cohort.py --visits 1000000 --encode 2000
"""

from __future__ import annotations

import argparse
import resource
import statistics
import subprocess
import sys
import tempfile
from itertools import cycle, islice
from pathlib import Path
from typing import Any

import duckdb
import orjson
import pyarrow.parquet as pq
from bench_planes import STEPS, looped, measured, timed
from cohort_in_codes import Codes
from rules_elsewhere import asked_of, by_duckdb, by_planes, by_polars, chosen

from layette.engine.api import Pack, load_pack
from layette.engine.cohort.coded import read_coded
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not
from layette.engine.logic.planes import BLOCK, PlanesReader
from layette.engine.logic.program import CompiledRule, Program
from layette.mapping.cohort.one_visit import Auditor
from layette.mapping.cohort.part import Part, PartReader
from layette.mapping.many.sources import items
from layette.mapping.settle import settle

TWENTY = 20
MAKER = Path(__file__).parents[2] / "examples" / "make_cohort.py"
PART = 2_000
ROUNDS = 3


def peak() -> str:
    """Return the most memory that this process had until now."""
    return f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:,.0f} MiB"


def all_rules(pack: Pack, codes: Codes, visits: int) -> None:
    """All rules over visits in codes, from Arrow to counts, beside the reader of one visit."""
    reader = PlanesReader(pack.program)
    took, block, found = measured(codes, reader, visits)
    print(f"\n{len(pack.program.rules)} rules over {visits:,} visits in codes, us a visit (best block)")
    for step in STEPS:
        print(f"  {step:<22}{took[step].mean:9.3f} ({took[step].best:.3f})")
    each, wrong = looped(pack, codes, block, found)
    mean, best = (sum(part) for part in zip(*took.values(), strict=True))
    print(f"  {'Arrow to counts':<22}{mean:9.3f} ({best:.3f})")
    print(
        f"  {'native, looped':<22}{each:9.3f}: {each / took['rules'].mean:,.0f} times the rules; {wrong} answers differ"
    )
    print(f"  {peak()}")


def twenty_rules(pack: Pack, codes: Codes, visits: int, scratch: Path) -> None:
    """Twenty rules over one Parquet file, by planes, DuckDB and Polars."""
    program, place = chosen(pack.program, codes, TWENTY), scratch / "codes.parquet"
    asked = asked_of(program)
    some = Codes({v: codes.states[v] for v in asked}, {v: codes.codes[v] for v in asked})
    with pq.ParquetWriter(place, next(some.blocks(1)).schema) as file:
        for block in some.blocks(visits):
            file.write_batch(block)
    print(f"\n{TWENTY} rules over {visits:,} visits of one Parquet file ({len(asked)} columns), us a visit")
    reading, _ = timed(pq.read_table, place)
    print(f"  {'reading the file':<22}{reading / visits * 1e6:9.3f}")
    first, wanted = timed(by_planes, program, codes, place)
    print(f"  {'planes':<22}{first / visits * 1e6:9.3f}")
    for name, other in (("DuckDB SQL", by_duckdb), ("Polars expressions", by_polars)):
        took, found = timed(other, program, codes, place)
        same = "answers equal" if (found == wanted).all() else "ANSWERS DIFFER"
        print(f"  {name:<22}{took / visits * 1e6:9.3f}: {took / first:.1f} times planes; {same}")


def growth(pack: Pack, codes: Codes, most: int) -> None:
    """Counting ten times as many visits again and again, and more and more rules."""
    held = [codes.coded(block) for block in codes.blocks(3 * BLOCK)]
    reader = PlanesReader(pack.program)
    print("\ncounting over codes, us a visit (three blocks again and again)")
    visits = 100_000
    while visits <= most:
        took, _ = timed(_count, reader, islice(cycle(held), -(-visits // BLOCK)))
        print(f"  {visits:>12,} visits {took / (-(-visits // BLOCK) * BLOCK) * 1e6:9.3f}; {peak()}")
        visits *= 10
    print("rules over one block, ns a visit and rule (copies over variables of their own)")
    for rules in (500, 1_000, 2_000, 4_000):
        program = tiled(pack.program, rules)
        writing, reader = timed(PlanesReader, program)
        size = len(pack.program.variables)
        coded = {var: held[0][0][var % size] for var in reader.asked if var % size in held[0][0]}
        took, _ = timed(_count, reader, [(coded, held[0][1])])
        print(f"  {rules:>12,} rules  {took / BLOCK / rules * 1e9:9.3f}; written down in {writing:.2f} s")


def _count(reader: PlanesReader, blocks: Any) -> Any:
    return sum(found.counts() for found in read_coded(reader, blocks))


def tiled(program: Program, rules: int) -> Program:
    """Return as many rules as wanted: the program's own, and copies of it over variables of their own."""
    size, copies = len(program.variables), -(-rules // len(program.rules))
    made = [_moved(rule, k * size) for k in range(copies) for rule in program.rules]
    drawn = tuple(var + k * size for k in range(copies) for var in program.conclusions)
    return Program(program.variables * copies, tuple(made[:rules]), drawn)


def _moved(rule: CompiledRule, by: int) -> CompiledRule:
    nodes = [_node(node, by) for node in (rule.applies, rule.when, rule.authored)]
    replacements = tuple(_node(node, by) for node in rule.replacements)
    concludes = tuple(var + by for var in rule.concludes)
    return CompiledRule(rule.id, rule.group, nodes[0], nodes[1], nodes[2], replacements, (), concludes)


def _node(node: Node, by: int) -> Node:
    match node:
        case Among(var, mask):
            return Among(var + by, mask)
        case Not(part):
            return Not(_node(part, by))
        case AllOf(parts) | AnyOf(parts):
            return type(node)(tuple(_node(part, by) for part in parts))


def encoding(pack: Pack, visits: int, scratch: Path) -> None:
    """Lines to tables, beside a parser of JSON and DuckDB's reader, for flat visits and Bundles."""
    settle()
    reader = PartReader(Auditor(pack), None)
    for form in ("flat", "bundle"):
        place = _made(scratch / form, form, visits)
        lines = place.read_bytes().splitlines()[:visits]
        taken = list(islice(items(str(place)), visits))
        each = sum(map(len, lines)) / len(lines), sum(line.count(b'"resourceType"') for line in lines) / len(lines)
        print(
            f"\nencoding {len(taken):,} lines ({form}: {each[0]:,.0f} bytes and {each[1]:.0f} resources each), "
            f"ms a visit: best (median) of {ROUNDS}"
        )
        reader.read(Part(0, 0, tuple(taken[:50])))
        for size in sorted({len(taken) // 10, len(taken)} - {0}):
            took = _rounds(_encoded, reader, taken[:size])
            best = _told(f"all tables, {size:,} visits", took, size)
        _told("orjson.loads", _rounds(lambda lines=lines: sum(map(_parsed, lines))), len(lines), best)
        whole = sum(1 for _ in place.open("rb"))
        _told("DuckDB, fields of lines", _rounds(_by_duckdb, place), whole, best)
        print(f"  {peak()}; an empty turn of a loop takes {turn():.0f} ns")


def _rounds(act: Any, *given: Any) -> list[float]:
    return [timed(act, *given)[0] for _ in range(ROUNDS)]


def _told(name: str, took: list[float], visits: int, beside: float | None = None) -> float:
    """Print milliseconds a visit, and how many times as long an audit takes; return the least."""
    best, median = (seconds / visits * 1e3 for seconds in (min(took), statistics.median(took)))
    print(f"  {name:<26}{best:9.3f} ({median:.3f})" + (f": 1 to {beside / best:,.0f}" if beside else ""))
    return best


def _made(place: Path, form: str, visits: int) -> Path:
    command = [sys.executable, str(MAKER), "--newborns", str(visits), "--form", form, "--out", str(place)]
    subprocess.run(command, check=True, capture_output=True)
    return place / "visits.ndjson"


def _encoded(reader: PartReader, taken: list[Any]) -> None:
    for number, first in enumerate(range(0, len(taken), PART)):
        reader.read(Part(number, first, tuple(taken[first : first + PART])))


def _parsed(line: bytes) -> bool:
    try:
        return bool(orjson.loads(line))
    except orjson.JSONDecodeError:
        return False


def _by_duckdb(place: Path) -> Any:
    with duckdb.connect() as base:
        return base.execute(
            "SELECT count(*), sum(len(json_keys(json))) FROM read_ndjson_objects(?, ignore_errors = true, "
            "maximum_object_size = 67108864)",
            [str(place)],
        ).fetchone()


def turn() -> float:
    """Return the nanoseconds of an empty turn of a loop, the least of five."""
    return min(timed(lambda: [None for _ in range(10**6)])[0] for _ in range(5)) * 1e3


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--visits", type=int, default=1_000_000)
    parser.add_argument("--most", type=int, default=10_000_000, help="how many visits are counted in the end")
    parser.add_argument("--encode", type=int, default=2_000)
    given = parser.parse_args()
    print(f"CPU time of a machine that may be shared; an empty turn of a loop takes {turn():.0f} ns of it")
    pack = load_pack()
    codes = Codes.of(pack)
    with tempfile.TemporaryDirectory() as scratch:
        all_rules(pack, codes, given.visits)
        growth(pack, codes, given.most)
        twenty_rules(pack, codes, given.visits, Path(scratch))
        encoding(pack, given.encode, Path(scratch))


if __name__ == "__main__":
    main()
