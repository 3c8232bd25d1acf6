"""Make an invented cohort of newborn visits, and what is true of it, to try `layette audit` on.

    python examples/make_cohort.py --newborns 1000 --out cohort
    layette audit cohort/visits.ndjson --out audited

Writes `cohort/visits.ndjson` (a visit a line; `--form bundle`: a FHIR Bundle a line) and `cohort/truth.ndjson` (a row a
line: what was planted there, and what became of it). Nobody in it was ever born: the numbers that it is drawn from, and
where they come from, are in `cohort/numbers.py` beside this script. The same seed makes the same bytes.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from cohort.lines import Asked, compact, lines

NOTE = """Everything in this folder is invented: no newborn, clinic or order in it is real.
Made by examples/make_cohort.py --newborns {0.newborns} --seed {0.seed} --often {0.often} --form {0.form}
"""


def make(asked: Asked, out: Path) -> tuple[int, int]:
    """Write a cohort into a folder, line by line; return how many lines it has, and how many of them are broken."""
    out.mkdir(parents=True, exist_ok=True)
    (out / "INVENTED.txt").write_text(NOTE.format(asked), encoding="utf-8")
    number = broken = 0
    with (
        (out / "visits.ndjson").open("w", encoding="utf-8", newline="\n") as visits,
        (out / "truth.ndjson").open("w", encoding="utf-8", newline="\n") as truth,
    ):
        for number, line in enumerate(lines(asked), 1):  # noqa: B007
            visits.write(line.text + "\n")
            truth.write(compact(line.truth) + "\n")
            broken += line.truth["broken"] is not None
    return number, broken


def main(words: Sequence[str] | None = None) -> int:
    """Read the command line, and make what it asks for."""
    parser = argparse.ArgumentParser(description="Make an invented cohort of newborn visits.")
    parser.add_argument("--newborns", type=int, default=1000, help="how many; each has two or three visits, some one")
    parser.add_argument("--seed", type=int, default=1, help="the same seed makes the same cohort")
    parser.add_argument("--often", type=float, default=1.0, help="multiplies how many have a problem or a fault")
    parser.add_argument("--form", choices=("flat", "bundle"), default="flat", help="what a line holds")
    parser.add_argument("--out", type=Path, required=True, help="the folder to write")
    told = parser.parse_args(words)
    if told.newborns < 1 or told.often < 0:
        parser.error("--newborns is 1 or more, and --often 0 or more")
    number, broken = make(Asked(told.newborns, told.seed, told.often, told.form), told.out)
    print(f"{number} lines, {broken} of them broken on purpose: {told.out / 'visits.ndjson'}", file=sys.stderr)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
