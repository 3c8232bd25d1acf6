"""The visits of `examples/`: run through the command line, with what differs between versions made alike."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

from support.checkout import ROOT

from layette import engine
from layette.engine.api import load_pack
from layette.mapping.cli import main
from layette.mapping.fhir.json import loads

EXAMPLES = ROOT / "examples"
EXPECTED = EXAMPLES / "expected"
NAMES = tuple(sorted(path.stem for path in EXAMPLES.glob("*.json")))
FORMS = {"text": ".txt", "fhir-json": ".fhir.json"}
"""The forms whose expected output is kept, with the ending of its file; FHIR is kept spread over lines, to be read."""

_URN = re.compile(r"urn:uuid:[0-9a-f-]{36}")


def source(name: str) -> dict[str, Any]:
    """Return the input Bundle of an example."""
    found: dict[str, Any] = loads((EXAMPLES / f"{name}.json").read_bytes())
    return found


def assess(path: Path, form: str, folder: Path, *more: str) -> bytes:
    """Assess a file by the command and return what it wrote.

    One reader, so that the answer does not depend on what is installed.
    """
    out = folder / "answer"
    indent = ["--indent"] if form == "fhir-json" else []
    assert main(["assess", str(path), "--to", form, "--out", str(out), "--readers", "native", *indent, *more]) == 0
    return out.read_bytes()


def alike(written: str) -> str:
    """Return an answer without what changes from version to version though nothing else does.

    That is the software version, the pack's digest, the run's identifiers (digests of both) and the `urn:uuid:` names
    that follow from them. Each is replaced by a value of the same form, so that the kept file is still valid FHIR.
    """
    runs = sorted(set(re.findall(r'identifier/run",\s*"value": "([0-9a-f]{32})', written)), key=written.index)
    for changing, fixed in (
        (_digest(), "0" * 64),
        (f"digest {_digest()[:8]}", "digest 00000000"),
        *((run, f"{number:032}") for number, run in enumerate(runs)),
        (f"layette-{engine.__version__}", "layette-0.0.0"),
        (f"Layette {engine.__version__}", "Layette 0.0.0"),
        (f'"value": "{engine.__version__}"', '"value": "0.0.0"'),
    ):
        written = written.replace(changing, fixed) if changing else written
    return _numbered(written)


def _numbered(written: str) -> str:
    names: dict[str, str] = {}

    def number(urn: re.Match[str]) -> str:
        return names.setdefault(urn[0], f"urn:uuid:{len(names) + 1:08}-0000-4000-8000-000000000000")

    return _URN.sub(number, written)


@cache
def _digest() -> str:
    return load_pack().digest
