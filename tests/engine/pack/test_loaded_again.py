"""The same files under another site are not read again, and what differs in anything is."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.small_pack import FOLDER, copied, rule, visit

from layette.engine import Pack, PackError, load_pack
from layette.engine.pack import again, load

OFF = 'rules_off: [{rule: exam.fever, reason: Another pathway, by: Lead, on: "2026-03-01"}]\n'


@pytest.fixture(autouse=True)
def _nothing_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(load, "LAST", again.Last())


def at_site(place: Path, text: str, folder: Path = FOLDER) -> Pack:
    (place / "site.yaml").write_text("site: Here\n" + text, encoding="utf-8")
    return load_pack(folder, place / "site.yaml")


def anew(folder: Path, site: Path | None = None) -> Pack:
    load.LAST = again.Last()
    return load_pack(folder, site)


def test_a_site_that_changes_no_rule_takes_the_program_as_it_is(tmp_path: Path) -> None:
    alone = load_pack(FOLDER)
    here = at_site(tmp_path, "settings: {loss_limit: more-than-10}\n")
    assert here.compiled is alone.compiled
    assert here.plan.states.choices != alone.plan.states.choices
    assert load_pack(FOLDER).compiled is alone.compiled


def test_a_site_that_changes_a_rule_has_a_program_of_its_own(tmp_path: Path) -> None:
    alone, here = load_pack(FOLDER), at_site(tmp_path, OFF)
    assert len(here.program.rules) == len(alone.program.rules) - 1


@pytest.mark.parametrize("text", ["", OFF, "timezone: America/Chicago\n", "settings: {loss_limit: more-than-10}\n"])
def test_it_is_the_pack_that_is_read_from_nothing(text: str, tmp_path: Path) -> None:
    load_pack(FOLDER)
    here = at_site(tmp_path, text)
    fresh = anew(FOLDER, tmp_path / "site.yaml")
    assert (here.digest, here.program, here.guards) == (fresh.digest, fresh.program, fresh.guards)
    seen = visit({"red_reflex.left": "white", "weight": {"value": 2.69, "unit": "kg"}})
    assert here.assess(seen).to_json() == fresh.assess(seen).to_json()


def test_one_letter_that_differs_is_read(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    before = load_pack(folder)
    with (folder / "decisions/exam.yaml").open("a", encoding="utf-8") as file:
        file.write(rule("- id: exam.late\n  when: {alertness: sleepy}\n")[2])
    after = load_pack(folder)
    assert after.digest != before.digest
    assert {*after.rules} - {*before.rules} == {"exam.late"}
    assert load_pack(FOLDER).digest == before.digest


def test_a_file_that_has_gone_and_one_that_is_not_listed_are_told(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    load_pack(folder)
    (folder / "decisions/more.yaml").write_text("[]", encoding="utf-8")
    with pytest.raises(PackError) as more:
        load_pack(folder)
    assert [one.code for one in more.value.problems] == ["file-unlisted"]
    (folder / "decisions/more.yaml").unlink()
    (folder / "decisions/exam.yaml").unlink()
    with pytest.raises(PackError) as less:
        load_pack(folder)
    assert "file-missing" in {one.code for one in less.value.problems}


def test_a_mistake_of_a_site_is_told_as_before(tmp_path: Path) -> None:
    load_pack(FOLDER)
    with pytest.raises(PackError) as kept:
        at_site(tmp_path, "settings: {loss_limit: never}\n")
    with pytest.raises(PackError) as fresh:
        anew(FOLDER, tmp_path / "site.yaml")
    assert kept.value.problems == fresh.value.problems
    assert at_site(tmp_path, "").digest == anew(FOLDER, tmp_path / "site.yaml").digest
