"""What each validator catches of the planted defects, with a column for ours.

Run it: ``python tests/benchmarks/validator_matrix.py``.
The other columns are data, `tests/support/defects/validator_matrix.csv`; ours is run now, on the same resources.
"""

from __future__ import annotations

import csv
from pathlib import Path

from layette.mapping.fhir.json import loads
from layette.mapping.validate import errors, validate

DEFECTS = Path(__file__).parents[1] / "support/defects"
OURS = "layette"


def rows() -> list[dict[str, str]]:
    """Return the matrix with our column last."""
    lines = (DEFECTS / "validator_matrix.csv").read_text(encoding="utf-8").splitlines()
    cases = loads((DEFECTS / "planted_defects.json").read_bytes())
    found = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    return [row | {OURS: verdict(cases[row["case"]]["resource"], row["defect"])} for row in found]


def verdict(resource: object, defect: str) -> str:
    """Say it in the words of the matrix."""
    caught = bool(errors(validate(resource)))
    if defect.startswith("good"):
        return "FALSE ALARM" if caught else "passed"
    return "caught" if caught else "missed"


def main() -> None:
    """Print the matrix, then how many of the defects each tool catches of those that it can be given."""
    table = rows()
    tools = [name for name in table[0] if name not in ("case", "defect")]
    print(f"{'case':13}{'defect':38}" + "".join(f"{name[:19]:20}" for name in tools))
    for row in table:
        print(f"{row['case']:13}{row['defect'][:36]:38}" + "".join(f"{row[name][:19]:20}" for name in tools))
    bad = [row for row in table if not row["defect"].startswith("good")]
    for name in tools:
        given = [row[name] for row in bad if row[name] != "n/a"]
        false = sum(row[name] == "FALSE ALARM" for row in table)
        print(f"{name}: {given.count('caught')} of {len(given)} caught, {false} false alarms")


if __name__ == "__main__":
    main()
