"""What the command leaves behind: a whole file or none, for its owner alone, and no traceback however it is stopped."""

from __future__ import annotations

import json
import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from support.small_pack import FOLDER, visit

from layette.mapping.cli import main
from layette.mapping.cli.output import write

COMMAND = [sys.executable, "-c", "from layette.mapping.cli import main; raise SystemExit(main())"]
STOPPED_WHILE_WRITING = """
import os, sys, time
from layette.mapping.cli import main

def wait(handle):
    print("writing", flush=True)
    time.sleep(60)

os.fsync = wait
raise SystemExit(main())
"""

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="modes and signals are those of POSIX")


@pytest.fixture(scope="module", name="assess")
def _assess(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """The words that assess a visit by the small pack, which loads in no time."""
    place = tmp_path_factory.mktemp("visit") / "visit.json"
    place.write_text(json.dumps(visit({"barlow.left": "positive"})))
    return ["assess", str(place), "--pack", str(FOLDER)]


def mode(place: Path) -> int:
    return stat.S_IMODE(place.stat().st_mode)


def test_a_new_file_is_for_its_owner_alone_and_a_replaced_one_keeps_its_mode(tmp_path: Path) -> None:
    new, old = tmp_path / "new.txt", tmp_path / "old.txt"
    old.write_text("before")
    old.chmod(0o640)
    for place in (new, old):
        write("after", str(place))
    assert (new.read_text(), old.read_text()) == ("after", "after")
    assert (mode(new), mode(old)) == (0o600, 0o640)
    assert {place.name for place in tmp_path.iterdir()} == {"new.txt", "old.txt"}


def test_a_file_of_the_name_that_an_old_run_would_have_left_is_no_hindrance_and_stays(tmp_path: Path) -> None:
    other = tmp_path / f".out.txt.{os.getpid()}.part"
    other.write_text("somebody else's")
    write("after", str(tmp_path / "out.txt"))
    assert other.read_text() == "somebody else's"


def test_a_long_name_can_be_written(tmp_path: Path) -> None:
    place = tmp_path / ("n" * 250)
    write("after", str(place))
    assert place.read_text() == "after"


def test_a_folder_that_is_not_there_is_named(
    assess: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*assess, "--out", str(tmp_path / "no" / "f")]) == 2
    assert str(tmp_path / "no" / "f") in capsys.readouterr().err


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_run_that_is_stopped_takes_away_what_it_made_and_nothing_else(
    number: int, assess: list[str], tmp_path: Path
) -> None:
    out = tmp_path / "out.txt"
    out.write_text("before")
    command = [sys.executable, "-c", STOPPED_WHILE_WRITING, *assess, "--out", str(out)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        assert run.stdout.readline() == "writing\n"
        run.send_signal(number)
        _, told = run.communicate(timeout=60)
    assert (run.returncode, told) == (2, "layette: stopped\n")
    assert [(place.name, place.read_text()) for place in tmp_path.iterdir()] == [("out.txt", "before")]


@pytest.mark.parametrize(
    ("words", "closed", "says"),
    [
        (["assess", "-"], 0, "stdin is closed"),
        ([], 1, "there is no output to write to"),
        (["assess", "/no/such/file"], 2, ""),
        (["--help"], 1, ""),
    ],
)
def test_a_closed_stream_ends_without_a_traceback(words: list[str], closed: int, says: str, assess: list[str]) -> None:
    run = subprocess.run(
        [*COMMAND, *(words or assess)], capture_output=True, text=True, preexec_fn=lambda: os.close(closed)
    )
    assert run.returncode == (0 if words == ["--help"] else 2)
    assert says in run.stderr
    assert "Traceback" not in run.stderr
    assert "fault of the program" not in run.stderr
    assert run.stdout == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a full disk is played by /dev/full")
def test_a_full_disk_is_told_once(assess: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        run = subprocess.run([*COMMAND, *assess], stdout=full, stderr=subprocess.PIPE, text=True)
    assert (run.returncode, len(run.stderr.splitlines())) == (2, 1)


def test_nothing_was_written_is_said_only_when_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.json"
    bad.write_text("{}")
    out = tmp_path / "out.json"
    words = ["assess", str(bad), "--pack", str(FOLDER), "--to", "fhir-json", "--out", str(out)]
    assert main(words) == 2
    assert "OperationOutcome" in out.read_text()
    told = capsys.readouterr().err
    assert "nothing was written" not in told
    assert "no answer was written, but an OperationOutcome" in told
