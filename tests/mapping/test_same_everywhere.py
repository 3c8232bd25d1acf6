"""The same input gives the same words in every process, whatever order Python gives its sets there."""

from __future__ import annotations

import json
import os
import subprocess
import sys

from support.small_pack import AT, BORN, FOLDER

PROCESS = """
import json, sys
from layette.engine import InputError, load_pack

pack = load_pack(sys.argv[1])
for visit in json.load(sys.stdin):
    try:
        print(pack.assess(visit, readers=["native"]).to_json(detail=True))
    except InputError as error:
        print(error)
"""

MANY = 30
"""More names that are none than get a hint: those that get one must be the same each time."""
UNKNOWN = {f"{'findings'[k % 8 :]}{k}": k for k in range(MANY)}
VISIT = {"born": BORN, "at": AT}
VISITS: list[dict[str, object]] = [
    VISIT,
    {**VISIT, **UNKNOWN},
    {**VISIT, "history": {**UNKNOWN, "order": [], "immunization": []}},
    {**VISIT, "findings": {"weight": {"value": 3, "unit": "kg", **UNKNOWN}, **UNKNOWN}},
]


def said(seed: int) -> str:
    process = subprocess.run(
        [sys.executable, "-c", PROCESS, str(FOLDER)], input=json.dumps(VISITS), text=True, check=True,
        capture_output=True, env={**os.environ, "PYTHONHASHSEED": str(seed)},
    )  # fmt: skip
    return process.stdout


def test_neither_an_answer_nor_a_refusal_hangs_on_the_order_of_a_set() -> None:
    first = said(1)
    assert first.count("did you mean") > 5
    assert '"caution"' in first
    assert first == said(2)
