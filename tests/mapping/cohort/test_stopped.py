"""An audit that is killed, whose worker dies, or whose disk is full: it goes on and ends the same, or says so."""

from __future__ import annotations

import io
import json
import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from support.small_pack import FOLDER, small

from layette.engine.errors import InputError
from layette.mapping.cli.command import main
from layette.mapping.cohort import part as parts
from layette.mapping.cohort.audit import Wanted, audit
from layette.mapping.cohort.files import UNFINISHED

BY = ("--pack", str(FOLDER))
"""A pack of few rules: what is tried here are the parts of an audit, not what it counts."""
TABLES = ("visits", "recommendations", "acts", "rule_counts", "open_because", "unasked", "statuses", "flat")


def cohort(tmp_path: Path, number: int = 40) -> str:
    place = tmp_path / "visits.ndjson"
    visits = (
        {
            "patient": f"Patient/{k}",
            "born": "2026-05-01T08:00:00+00:00",
            "at": f"2026-05-{3 + k % 20:02}T10:00:00+00:00",
            "findings": {"red_reflex.left": ("present", "white")[k % 2], "weight": {"value": 3000 + k, "unit": "g"}},
        }
        for k in range(number)
    )
    place.write_text("".join(json.dumps(visit) + "\n" for visit in visits) + "broken\n", encoding="utf-8")
    return str(place)


def everything(out: Path) -> dict[str, Any]:
    made: dict[str, Any] = {name: pq.read_table(out / name).to_pylist() for name in TABLES}
    return made | {"aside": (out / "rejected.ndjson").read_text(), "account": (out / "audit.json").read_text()}


def unfinished(out: Path) -> list[Path]:
    return [place for place in out.rglob("*") if UNFINISHED in place.name]


COMMAND = """
import sys, time
from pathlib import Path
from layette.engine.api import load_pack
from layette.mapping.cohort import files
from layette.mapping.cohort.audit import Wanted, audit
slow = files.write_table
def write_table(made, place):
    with files.whole(place) as part:
        part.write_bytes(b"half")
        time.sleep(0.02)
    slow(made, place)
files.write_table = write_table
audit(Wanted(sys.argv[1], Path(sys.argv[2]), workers=int(sys.argv[3]), part=5), load_pack(sys.argv[4]))
"""


@pytest.mark.slow
@pytest.mark.parametrize("workers", [1, 2])
def test_killed_at_any_moment_it_goes_on_and_ends_the_same(tmp_path: Path, workers: int) -> None:
    found, whole, out = cohort(tmp_path), tmp_path / "whole", tmp_path / "out"
    audit(Wanted(found, whole, part=5), small())
    run = subprocess.Popen(
        [sys.executable, "-c", COMMAND, found, str(out), str(workers), str(FOLDER)], start_new_session=True
    )
    try:
        end = time.monotonic() + 240
        while len(list((out / "parts").glob("*.json"))) < 3 and run.poll() is None and time.monotonic() < end:
            time.sleep(0.005)
    finally:
        os.killpg(run.pid, signal.SIGKILL)
        run.wait()
    assert not (out / "audit.json").exists()
    done = {place: place.stat().st_mtime_ns for place in (out / "parts").glob("*.json")}
    assert done
    progress = audit(Wanted(found, out, part=5), small())
    assert progress.resumed >= 5
    assert {place: place.stat().st_mtime_ns for place in done} == done
    assert everything(out) == everything(whole)
    assert unfinished(out) == []


@pytest.fixture
def deadly(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """Let a worker die in the middle of a part, as often as there are files here."""
    lives = tmp_path / "lives"
    lives.mkdir()
    write = parts.PartWriter.write

    def dying(self: parts.PartWriter, part: parts.Part) -> parts.Totals:
        if part.name == "part-000002":
            for life in sorted(lives.iterdir()):
                life.unlink()
                os.kill(os.getpid(), signal.SIGKILL)
        return write(self, part)

    monkeypatch.setattr(parts.PartWriter, "write", dying)
    return lives


def test_a_worker_that_dies_is_replaced_and_its_part_is_done_once(tmp_path: Path, deadly: Path) -> None:
    found, whole, out = cohort(tmp_path), tmp_path / "whole", tmp_path / "out"
    audit(Wanted(found, whole, part=5), small())
    (deadly / "1").touch()
    progress = audit(Wanted(found, out, workers=2, part=5), small())
    assert not list(deadly.iterdir())
    assert (progress.totals.visits, progress.totals.rejected) == (40, 1)
    assert everything(out) == everything(whole)


def test_a_part_that_kills_every_worker_is_named(tmp_path: Path, deadly: Path) -> None:
    for life in range(9):
        (deadly / str(life)).touch()
    with pytest.raises(InputError, match=r"visits\.ndjson:11 to .*visits\.ndjson:15"):
        audit(Wanted(cohort(tmp_path), tmp_path / "out", workers=2, part=5), small())


@pytest.mark.parametrize("workers", ["1", "2"])
def test_a_full_disk_is_an_error_and_leaves_no_half_file(
    tmp_path: Path, workers: str, capfd: pytest.CaptureFixture[str]
) -> None:
    """The system refuses what is written past a limit, as it does on a full disk."""
    found, out = cohort(tmp_path), tmp_path / "out"
    before, ignored = resource.getrlimit(resource.RLIMIT_FSIZE), signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4_000, before[1]))
    try:
        assert main(["audit", found, "--out", str(out), "--workers", workers, *BY]) == 2
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)
    assert "File too large" in capfd.readouterr().err
    assert unfinished(out) == []
    assert not (out / "audit.json").exists()
    assert not list((out / "parts").glob("*.json"))
    assert main(["audit", found, "--out", str(out), "--workers", "1", *BY]) == 2  # the broken line
    assert json.loads((out / "audit.json").read_text())["totals"]["visits"] == 40


def test_another_audit_is_not_mixed_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found, out = cohort(tmp_path, 2), tmp_path / "out"
    main(["audit", found, "--out", str(out), "--workers", "1", *BY])
    first = everything(out)
    Path(found).write_text("", encoding="utf-8")
    assert main(["audit", found, "--out", str(out), "--workers", "1", *BY]) == 2
    assert "the folder holds another audit: it differs in input" in capsys.readouterr().err
    assert everything(out) == first


def test_what_comes_by_a_pipe_is_never_taken_for_what_came_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out, content = tmp_path / "out", Path(cohort(tmp_path, 2)).read_bytes()
    for told in ("2 visits, 1 set aside", "the folder holds another audit: it differs in input"):
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(content)))
        assert main(["audit", "-", "--out", str(out), "--workers", "1", *BY]) == 2
        assert told in capsys.readouterr().err
