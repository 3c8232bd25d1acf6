"""An audit of many visits: its tables say what `assess` says, and what was done."""

from __future__ import annotations

import json
import stat
from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from support.small_pack import FOLDER, small
from support.sweeps import cases_that_show_each_rule, every_case, whole

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.api import Pack, load_pack
from layette.engine.cohort.due import NOT_ON_RECORD, DueAt
from layette.engine.errors import InputError
from layette.mapping.cli.command import main
from layette.mapping.cohort.audit import Wanted, audit
from layette.mapping.cohort.one_visit import Auditor
from layette.mapping.cohort.tables import PARTS

Row = dict[str, Any]
BY = ("--pack", str(FOLDER))
"""A pack of few rules, where what is tried hangs on no rule."""
SPOTS = {
    "patient": "Patient/a", "born": "2026-05-01T08:00:00+00:00", "at": "2026-05-06T10:00:00+00:00",
    "clinic": "North", "findings": {"red_reflex.left": "white", "weight": {"value": 3300, "unit": "g"}},
}  # fmt: skip


def lines(place: Path, visits: Iterable[Any]) -> str:
    place.write_text("".join(v if isinstance(v, str) else json.dumps(v, default=str) + "\n" for v in visits), "utf-8")
    return str(place)


def rows(out: Path, table: str) -> list[Row]:
    found: list[Row] = pq.read_table(out / table).to_pylist() if any((out / table).glob("*.parquet")) else []
    return found


def audited(tmp_path: Path, visits: Iterable[Any], pack: Pack | None = None) -> Path:
    out = tmp_path / "out"
    audit(Wanted(lines(tmp_path / "visits.ndjson", visits), out), pack or small())
    return out


def led(out: Path, target: str, **where: Any) -> list[Row]:
    found = [r for r in rows(out, "recommendations") if r["target"] == target and r["lead"]]
    return [r for r in found if all(r[name] == value for name, value in where.items())]


def with_order(visit: Row, **order: Any) -> Row:
    placed = {"target": "ophthalmology", "status": "active", "reference": "ServiceRequest/1", **order}
    return {**visit, "history": {"orders": [placed]}}


def asked(found: DueAt) -> Counter[tuple[Any, ...]]:
    apart = ("guide", "reassure", NOT_ON_RECORD)
    return Counter(
        (r.kind, r.target, r.side, r.priority, r.stood) for r in found.rows
        if r.lead and r.kind not in apart and r.status != NOT_ON_RECORD
    )  # fmt: skip


def assessed(found: Assessment) -> Counter[tuple[Any, ...]]:
    proposed = [(r, False) for r in (*found.recommendations, *found.to_chase, *found.avoid)]
    proposed += [(r, True) for r in found.standing if r.kind != "reassure"]
    return Counter((r.kind, r.target, r.side, r.priority, stood) for r, stood in proposed)


def test_what_was_due_is_what_assess_proposes(request: pytest.FixtureRequest) -> None:
    """Of cases: proposals, guidance, values to judge, what is not on record."""
    pack, auditor = load_pack(), Auditor(load_pack())
    seen = Counter[str]()
    for case in every_case() if whole(request) else cases_that_show_each_rule()[::4]:
        try:
            visit = pack.read_visit(case.shape.given)
        except InputError:
            continue
        due = auditor.due([auditor.of(case.shape.given, None)]).at(0)
        wanted = pack.assess(visit, readers=["native"])
        assert asked(due) <= assessed(wanted), case.label
        assert {one[1] for one in assessed(wanted) - asked(due)} <= {*due.to_chase}, case.label
        assert {*due.to_chase} == {one.target for one in wanted.to_chase}, case.label
        guided = {r.target for r in due.rows if r.kind == "guide" and not r.stood}
        assert guided == {r.target for r in wanted.guidance}, case.label
        assert {*due.to_judge} == {one.target for one in wanted.to_judge}, case.label
        assert {*due.not_on_record} == {one.finding for one in wanted.not_on_record}, case.label
        asked_to = [r for r in due.rows if r.lead and r.kind == "refer" and r.status != NOT_ON_RECORD and not r.stood]
        ends = {(r.target, r.side, r.until) for r in asked_to}
        told = {(r.target, r.side, second(r.window.until)) for r in wanted.recommendations if r.kind == "refer"}
        assert ends == told or visit.orders, case.label
        seen.update(r.kind for r in due.rows)
    assert {"refer", "order", "recheck", "guide", "avoid"} <= {*seen}


def second(text: str | None) -> int | None:
    return None if text is None else int(datetime.fromisoformat(text).timestamp())


ORDERS: tuple[tuple[Row, str], ...] = (
    ({"time": "2026-05-06T10:30:00+00:00", "priority": "stat"}, "in time"),
    ({"time": "2026-05-09T10:00:00+00:00"}, "late"),
    ({"time": "2026-05-06"}, "in time"),
    ({"time": "2026-05-06T11:00:00+00:00", "status": "revoked", "reason": "moved away"}, "declined"),
    ({"time": "2026-05-06T10:30:00+00:00", "status": "draft"}, "missed"),
    ({"time": "2026-05-06T10:30:00+00:00", "side": "right"}, "missed"),
    ({"time": "2026-05-06T10:30:00+00:00", "target": "cardiology"}, "missed"),
    ({"time": "2026-05-01T10:30:00+00:00"}, "missed"),
)
"""Orders of newborns that all show the same, with what became of what was due."""


@pytest.fixture(scope="module")
def ordered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One audit of a newborn for each order, and of a visit long after them."""
    visits = [with_order({**SPOTS, "patient": f"Patient/{k}"}, **order) for k, (order, _) in enumerate(ORDERS)]
    later = {**SPOTS, "patient": "Patient/later", "at": "2026-05-20T10:00:00+00:00"}
    return audited(tmp_path_factory.mktemp("ordered"), [*visits, later], load_pack())


@pytest.mark.xdist_group("audit-orders")
@pytest.mark.parametrize("number", range(len(ORDERS)))
def test_an_order_answers_what_was_due(ordered: Path, number: int) -> None:
    outcome = ORDERS[number][1]
    (found,) = led(ordered, "ophthalmology", visit=number)
    assert (found["outcome"], found["status"], found["priority"]) == (outcome, "fired", "stat")
    if outcome == "late":
        assert found["days_late"] == pytest.approx(2, abs=0.01)
    if outcome == "declined":
        assert (found["declined_reason"], found["act"]) == ("moved away", "ServiceRequest/1")


def test_an_order_is_found_in_the_record_of_a_later_visit_and_only_of_the_same_newborn(tmp_path: Path) -> None:
    later = with_order({**SPOTS, "at": "2026-05-12T10:00:00+00:00"}, time="2026-05-06T11:00:00+00:00")
    other = {**SPOTS, "patient": "Patient/b"}
    nameless = [{k: v for k, v in SPOTS.items() if k != "patient"}] * 2
    out = audited(tmp_path, [SPOTS, later, other, *nameless])
    outcomes = {r["visit"]: r["outcome"] for r in led(out, "ophthalmology")}
    assert outcomes == {0: "in time", 1: "not yet", 2: "missed", 3: "missed", 4: "missed"}


def test_what_is_open_still_at_the_end_of_the_record_is_not_missed(tmp_path: Path) -> None:
    (found,) = led(audited(tmp_path, [SPOTS]), "ophthalmology")
    assert found["outcome"] == "not yet"


def test_orders_that_nothing_asks_for_stand_apart(tmp_path: Path) -> None:
    out = audited(tmp_path, [with_order(SPOTS, target="cardiology", time="2026-05-06T12:00:00+00:00"), SPOTS])
    (found,) = rows(out, "unasked")
    assert (found["target"], found["clinic"], found["reference"]) == ("cardiology", "North", "ServiceRequest/1")
    assert found["visit"] in (0, 1)


def test_counts_add_up_in_each_group(tmp_path: Path) -> None:
    visits = [{**SPOTS, "clinic": clinic} for clinic in ("North", "North", "South")]
    visits.append({k: v for k, v in SPOTS.items() if k != "clinic"})
    out = audited(tmp_path, visits)
    counts = rows(out, "rule_counts")
    assert {r["rule"] for r in counts} == {*small().rules}
    assert len(counts) == 3 * len({r["rule"] for r in counts})
    for r in counts:
        parts = ("fired", "provisional", "undecided", "ruled_out", "not_applicable")
        assert sum(r[part] for part in parts) == r["visits"] == {"North": 2, "South": 1, None: 1}[r["clinic"]]
        assert r["eligible"] <= r["may_be_eligible"] == r["visits"] - r["not_applicable"]
    fired = {r["rule"] for r in counts if r["fired"]}
    stands = {r["rule"] for r in rows(out, "recommendations") if r["status"] == "fired"}
    assert stands <= fired


def test_counting_again_by_another_group_and_period_gives_the_same_sums(tmp_path: Path) -> None:
    visits = [{**SPOTS, "sex_at_birth": sex} for sex in ("female", "male", "male")]
    out = audited(tmp_path, [*visits, {**SPOTS, "at": "2026-06-06T10:00:00+00:00"}], load_pack())
    before = Counter[str]()
    for r in rows(out, "rule_counts"):
        before[r["rule"]] += r["fired"]
    assert main(["audit", str(out), "--by", "sex"]) == 0
    again = rows(out, "rule_counts")
    assert {r["sex"] for r in again} == {"female", "male", None}
    after = Counter[str]()
    for r in again:
        after[r["rule"]] += r["fired"]
    assert +after == +before
    assert main(["audit", str(out), "--from", "2026-06"]) == 0
    assert {r["visits"] for r in rows(out, "rule_counts")} == {1}


def test_undecided_names_what_it_waits_for(tmp_path: Path) -> None:
    out = audited(tmp_path, [SPOTS, SPOTS])
    waits = {(r["rule"], r["finding"]): r["visits"] for r in rows(out, "open_because")}
    undecided = {r["rule"] for r in rows(out, "rule_counts") if r["undecided"]}
    assert {rule for rule, _ in waits} >= undecided
    assert {*waits.values()} == {2}


def test_broken_lines_are_quoted_and_totals_add_up(tmp_path: Path) -> None:
    broken = ["{not json\n", "\n", json.dumps({**SPOTS, "findings": {"red_reflex.left": "purple"}}) + "\n", "[1]\n"]
    found = lines(tmp_path / "visits.ndjson", [SPOTS, *broken, SPOTS])
    out = tmp_path / "out"
    assert main(["audit", found, "--out", str(out), "--workers", "1", *BY]) == 2
    totals = json.loads((out / "audit.json").read_text())["totals"]
    assert totals == {"read": 6, "visits": 2, "rejected": 3, "skipped": 1, "rejected_with_emergency": 0}
    aside = [json.loads(line) for line in (out / "rejected.ndjson").read_text().splitlines()]
    assert [one["line"] for one in aside] == [2, 4, 5]
    assert all(one["source"] == found and one["problems"] for one in aside)
    assert aside[0]["quoted"] == "{not json"


def test_a_line_that_is_set_aside_hides_no_emergency(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = {**SPOTS, "findings": {**SPOTS["findings"], "temperature": {"value": 99, "unit": "Cel"}}}  # type: ignore[dict-item]
    assert (
        main(["audit", lines(tmp_path / "v.ndjson", [wrong]), "--out", str(tmp_path / "out"), "--workers", "1", *BY])
        == 2
    )
    assert "URGENT: 1 of these decide an emergency" in capsys.readouterr().err


def test_every_file_is_for_its_owner_alone(tmp_path: Path) -> None:
    out = audited(tmp_path, [SPOTS])
    modes = {place.name: stat.S_IMODE(place.stat().st_mode) for place in out.rglob("*")}
    assert {modes[place.name] for place in out.rglob("*") if place.is_file()} == {0o600}
    assert {modes[place.name] for place in out.rglob("*") if place.is_dir()} == {0o700}
    assert {place.name for place in out.iterdir() if place.is_dir()} >= {*PARTS, "recommendations", "unasked"}


def test_pseudonyms_leave_no_name_anywhere(tmp_path: Path) -> None:
    visit = with_order(SPOTS, time="2026-05-06T11:00:00+00:00", status="revoked", reason="Mrs Quill said no")
    visit |= {"patient": "Patient/quill", "identifiers": [{"system": "urn:x", "value": "MRN-77"}]}
    wrong = {**visit, "findings": {"red_reflex.left": "Quill"}}
    found = lines(tmp_path / "quill.ndjson", [visit, visit, wrong])
    out, again = tmp_path / "out", tmp_path / "again"
    assert main(["audit", found, "--out", str(out), "--pseudonymize", "--workers", "1", *BY]) == 2
    words = ("quill", "Quill", "MRN-77")
    read = [p for p in out.rglob("*") if p.is_file() and any(word.encode() in p.read_bytes() for word in words)]
    told = [r for table in (*PARTS, "recommendations") for r in rows(out, table) if any(w in repr(r) for w in words)]
    assert (read, told) == ([], [])
    assert len({r["patient"] for r in rows(out, "visits")}) == 1
    assert stat.S_IMODE((out / "key").stat().st_mode) == 0o600
    main(["audit", found, "--out", str(again), "--pseudonymize", "--workers", "1", "--key", str(out / "key"), *BY])
    assert rows(again, "visits") == rows(out, "visits")


def test_no_words_of_anybody_are_kept_under_pseudonyms(tmp_path: Path) -> None:
    said = "Mrs Quill"
    asked = {"value": "asked", "text": said}
    letter = {"value": "not_understood", "given": f"see letter of {said}"}
    counted = {"value": 98.2, "unit": "[degF]", "given": "98.2 F"}
    findings = {"family_questions": asked, "bloodspot_result": letter, "temperature": counted}
    order = {"target": "ophthalmology", "time": "2026-05-06T11:00:00+00:00", "status": "active", "note": said}
    visit = {**SPOTS, "findings": findings, "history": {"orders": [order]}, "counts": {said: 1}}
    named = {**visit, "findings": {said: 1}, "settings": {said: "x"}}
    out = tmp_path / "out"
    assert (
        main(
            [
                "audit",
                lines(tmp_path / "v.ndjson", [visit, named]),
                "--out",
                str(out),
                "--pseudonymize",
                "--workers",
                "1",
            ]
        )
        == 2
    )
    assert len(rows(out, "visits")) == 1
    assert [r for table in PARTS for r in rows(out, table) if "Quill" in repr(r)] == []
    assert [p for p in out.rglob("*") if p.is_file() and b"Quill" in p.read_bytes()] == []
    (kept,) = (json.loads(row["flat"]) for row in rows(out, "flat"))
    assert kept["findings"]["temperature"]["given"] == "98.2 F"
    assert kept["findings"]["bloodspot_result"] == {"value": "not_understood"}
    (told,) = (json.loads(line) for line in (out / "rejected.ndjson").read_text(encoding="utf-8").splitlines())
    assert [one["path"] for one in told["problems"]] == ["findings.…", "settings.…"]


def test_a_key_that_others_can_read_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    key = tmp_path / "key"
    key.write_text("00" * 32)
    key.chmod(0o644)
    words = ["audit", lines(tmp_path / "v.ndjson", [SPOTS]), "--out", str(tmp_path / "out"), "--pseudonymize", *BY]
    assert main([*words, "--key", str(key)]) == 2
    assert "others can read the key" in capsys.readouterr().err


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return audited(tmp_path_factory.mktemp("once"), [SPOTS])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--from", "2026-13"], "--from: this is no month"),
        (["--to", "2026-5"], "--to: this is no month"),
        (["--from", "2026-06", "--to", "2026-05"], "--to: the last month lies before the first"),
        (["--pseudonymize"], "--pseudonymize: this is settled when the records are read"),
    ],
)
def test_what_an_audit_cannot_be_counted_by_is_refused(
    once: Path, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    before = (once / "rule_counts" / "all.parquet").read_bytes()
    assert main(["audit", str(once), *words]) == 2
    assert told in capsys.readouterr().err
    assert (once / "rule_counts" / "all.parquet").read_bytes() == before


@pytest.mark.parametrize("words", [["--by", "clinic"], ["--from", "2026-01"], ["--compare", "tests/packs/small"]])
def test_what_counts_an_audit_again_is_refused_where_there_is_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    found = lines(tmp_path / "v.ndjson", [SPOTS])
    assert main(["audit", found, "--out", str(tmp_path / "out"), *words]) == 2
    assert f"{words[0]}: this counts an audit again, and no audit is given" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("name", ["empty.ndjson", "notes.txt", "folder"])
def test_an_input_without_a_visit_is_told_and_can_be_put_right(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    place, out = tmp_path / name, tmp_path / "out"
    _ = place.write_text("") if "." in name else place.mkdir()
    assert main(["audit", str(place), "--out", str(out), "--workers", "1", *BY]) == 2
    assert "INPUT: there is no visit in it" in capsys.readouterr().err
    assert main(["audit", str(tmp_path / "none"), "--out", str(out), *BY]) == 2
    assert "No such file or directory" in capsys.readouterr().err
    assert main(["audit", lines(tmp_path / "v.ndjson", [SPOTS]), "--out", str(out), "--workers", "1", *BY]) == 0


def test_what_another_audit_began_and_never_did_is_not_counted(tmp_path: Path) -> None:
    """Killed in its second part, before the first was done, it leaves tables of both."""
    out = audited(tmp_path, [SPOTS, SPOTS])
    for name in ("visits", "due", "acts", "statuses", "flat"):
        left = out / name / "part-000000.parquet"
        left.with_name("part-000001.parquet").write_bytes(left.read_bytes())
    for account in (out / "parts").glob("*.json"):
        account.unlink()
    found = lines(tmp_path / "other.ndjson", [{**SPOTS, "patient": "Patient/other"}])
    assert audit(Wanted(found, out), small()).totals.visits == 1
    assert [row["patient"] for row in rows(out, "visits")] == ["Patient/other"]
