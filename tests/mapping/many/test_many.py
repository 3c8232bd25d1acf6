"""Many visits in, many answers out: each as alone, in order, with totals that add up."""

from __future__ import annotations

import json
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from support.shipped_examples import EXAMPLES

from layette.engine import load_pack
from layette.mapping.answering import answer
from layette.mapping.cli import main
from layette.mapping.many import Item, answers, items
from layette.mapping.many.sources import SIZE_LIMIT
from layette.mapping.many.workers import Asked

FLAT: dict[str, Any] = {
    "born": "2026-05-15T02:10:00-05:00",
    "at": "2026-05-19T10:00:00-05:00",
    "sex_at_birth": "female",
}
NATIVE = Asked(readers=("native",))


def visit(**more: Any) -> bytes:
    return json.dumps({**FLAT, "findings": more}).encode()


def bundle() -> bytes:
    return (EXAMPLES / "two-visits.ndjson").read_bytes().splitlines()[0]


def lines(path: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def run(folder: Path, source: Path, *more: str) -> int:
    words = ["assess", str(source), "--to", "ndjson", "--out", str(folder / "a.ndjson"), "--readers", "native"]
    return main([*words, *more])


def mixed(folder: Path) -> Path:
    path = folder / "visits.ndjson"
    odd = b'{"born": "2026-05-15T02:10:00-05:00", "at": "now", "findings": {"red_reflex.left": "white"}}'
    path.write_bytes(
        b"\xef\xbb\xbf"
        + b"\n".join([visit(temperature={"value": 37, "unit": "Cel"}), b"", odd, b"{no", bundle(), b"[1]", visit()])
    )
    return path


def test_a_bad_line_is_set_aside_with_its_number_and_reason(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(tmp_path, mixed(tmp_path), "--workers", "1") == 2
    assert [one["line"] for one in lines(tmp_path / "a.ndjson")] == [1, 5, 7]
    aside = lines(tmp_path / "a.rejected.ndjson")
    assert [(one["line"], one["problems"][0]["code"]) for one in aside] == [
        (3, "time"),
        (4, "not-json"),
        (6, "not-json"),
    ]
    assert "7 read: 3 answered, 3 set aside, 1 empty or of another kind" in capsys.readouterr().err


def test_all_good_is_zero_and_nothing_is_set_aside(tmp_path: Path) -> None:
    path = tmp_path / "visits.jsonl"
    path.write_bytes(visit() + b"\n")
    assert run(tmp_path, path, "--workers", "1") == 0
    assert (tmp_path / "a.rejected.ndjson").read_bytes() == b""


def test_the_answers_are_those_of_one_by_one_with_any_number_of_processes() -> None:
    pack = load_pack()
    content = [visit(temperature={"value": 36 + k / 10, "unit": "Cel"}) for k in range(0, 30, 2)] + [bundle(), b"{"]
    found = [Item(one, "visits", k) for k, one in enumerate(content, 1)]
    alone = list(answers(found, pack, NATIVE, workers=1))
    assert list(answers(found, pack, NATIVE, workers=2)) == alone
    for item, outcome in zip(found[:-1], alone, strict=False):
        one = answer(item.content, pack, readers=("native",))
        assert json.loads(outcome.text)["assessment"] == json.loads(one.assessment.to_json())
        assert json.loads(outcome.text)["account"] == str(one.account)
    assert [one.refused for one in alone] == [False] * (len(found) - 1) + [True]


def test_items_are_read_no_further_than_they_are_needed() -> None:
    taken: list[int] = []

    def endless() -> Any:
        for number in range(10_000):
            taken.append(number)
            yield Item(visit(), "visits", number)

    made = answers(endless(), load_pack(), NATIVE, workers=2)
    next(made)
    made.close()  # type: ignore[attr-defined]
    assert len(taken) < 200


def test_an_emergency_in_a_line_that_is_set_aside_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "visits.ndjson"
    found = {"temperature": {"value": 39.5, "unit": "Cel"}, "weight": {"value": 3, "unit": "stone"}}
    path.write_bytes(visit(**found) + b"\n")
    assert run(tmp_path, path, "--workers", "1") == 2
    assert "URGENT" in capsys.readouterr().err
    assert lines(tmp_path / "a.rejected.ndjson")[0]["urgent"]


def test_a_folder_is_read_by_name_with_its_folders(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "in"
    (folder / "more").mkdir(parents=True)
    (folder / "b.json").write_bytes(visit())
    (folder / "a.yaml").write_text(json.dumps(FLAT), encoding="utf-8")
    (folder / "more/c.ndjson").write_bytes(visit() + b"\n" + visit() + b"\n")
    (folder / "read-me.txt").write_text("no visit", encoding="utf-8")
    (folder / ".hidden.json").write_text("{", encoding="utf-8")
    assert run(tmp_path, folder, "--workers", "1") == 0
    places = [(one["source"], one.get("line")) for one in lines(tmp_path / "a.ndjson")]
    assert places == [("a.yaml", None), ("b.json", None), ("more/c.ndjson", 1), ("more/c.ndjson", 2)]
    assert "5 read: 4 answered, 0 set aside, 1 empty or of another kind" in capsys.readouterr().err


def test_a_line_that_is_too_long_stops_no_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("layette.mapping.many.sources.SIZE_LIMIT", 300)
    path = tmp_path / "visits.ndjson"
    path.write_bytes(b"{" + b" " * 5000 + b"}\n" + visit() + b"\n")
    found = list(items(str(path)))
    assert [(one.line, len(one.content) < 400) for one in found] == [(1, True), (2, True)]
    assert found[1].content == visit()
    assert SIZE_LIMIT > 300


REFUSED = [
    (("--subject", "Patient/a"), "--subject"),
    (("--encounter", "Encounter/a"), "--encounter"),
    (("--workers", "0"), "--workers"),
    (("--say",), "--say"),
    (("--language", "es"), "--language"),
]


@pytest.mark.parametrize(("more", "named"), REFUSED)
def test_an_option_for_one_visit_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: tuple[str, ...], named: str
) -> None:
    assert run(tmp_path, mixed(tmp_path), *more) == 2
    assert named in capsys.readouterr().err
    assert not (tmp_path / "a.ndjson").exists()


@pytest.mark.parametrize(
    ("words", "named"), [([], "INPUT"), (["--workers", "2"], "--workers"), (["--rejected", "r"], "--rejected")]
)
def test_many_are_not_taken_for_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], named: str
) -> None:
    assert main(["assess", str(mixed(tmp_path)), *words]) == 2
    assert named in capsys.readouterr().err


def test_answers_to_stdout_need_a_file_for_what_is_set_aside(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "visits.ndjson"
    path.write_bytes(visit())
    words = ["assess", str(path), "--to", "ndjson", "--readers", "native", "--workers", "1"]
    assert main(words) == 2
    assert "--rejected" in capsys.readouterr().err
    assert main([*words, "--rejected", str(tmp_path / "r")]) == 0
    assert json.loads(capsys.readouterr().out)["line"] == 1


def test_a_bar_is_drawn_on_a_terminal_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(tmp_path, mixed(tmp_path), "--workers", "1")
    assert "\r" not in capsys.readouterr().err
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    run(tmp_path, mixed(tmp_path), "--workers", "1")
    assert "answered" in capsys.readouterr().err.split("\r")[1]


def test_a_replaced_file_keeps_its_mode_and_a_fault_leaves_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "a.ndjson"
    out.write_text("old", encoding="utf-8")
    out.chmod(0o640)
    assert run(tmp_path, mixed(tmp_path), "--workers", "1") == 2
    assert out.stat().st_mode & 0o777 == 0o640
    assert out.read_text(encoding="utf-8") != "old"
    before = out.read_bytes()
    monkeypatch.setattr("layette.mapping.cli.many.answers", broken)
    assert run(tmp_path, mixed(tmp_path), "--workers", "1") == 2
    assert out.read_bytes() == before
    assert list(tmp_path.glob(".a*")) == []


def test_a_pipe_is_written_and_not_replaced(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.ndjson")
    with ThreadPoolExecutor(1) as pool:
        read = pool.submit((tmp_path / "a.ndjson").read_text)
        assert run(tmp_path, mixed(tmp_path), "--workers", "1") == 2
        assert len(read.result(timeout=60).splitlines()) == 3
    assert (tmp_path / "a.ndjson").is_fifo()


def broken(*_: Any) -> Any:
    yield next(answers([Item(visit(), "x", 1)], load_pack(), NATIVE, workers=1))
    raise OSError("the disk is full")
