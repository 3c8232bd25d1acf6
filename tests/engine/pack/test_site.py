"""What a practice sets for itself, and what it may not: every change is printed, none makes the pack less careful."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from support.small_pack import FOLDER, copied, small, statuses, visit
from support.supplied_lines import HEADER, site_with

from layette.engine import Pack, PackError, load_pack
from layette.engine.errors import PackProblem

OFF = 'rules_off: [{rule: exam.fever, reason: Another pathway, by: Medical director, on: "2026-03-01"}]\n'
TIGHT = 'windows: [{rule: exam.barlow-first, within: 7 d, reason: Clinic on Mondays, by: Lead, on: "2026-03-01"}]\n'


def with_site(place: Path, text: str) -> Pack:
    place.mkdir(parents=True, exist_ok=True)
    (place / "site.yaml").write_text("site: Here\n" + text, encoding="utf-8")
    return load_pack(FOLDER, place / "site.yaml")


def refused(place: Path, text: str) -> list[PackProblem]:
    with pytest.raises(PackError) as caught:
        with_site(place, text)
    assert {p.file for p in caught.value.problems} == {f"site file {place / 'site.yaml'}"}
    return list(caught.value.problems)


def test_a_setting_of_the_site_is_in_force_and_printed(tmp_path: Path) -> None:
    pack = with_site(tmp_path, "settings: {loss_limit: more-than-10}\n")
    ten = visit({"weight": {"value": 2.7, "unit": "kg"}, "birth_weight": {"value": 3, "unit": "kg"}})
    found = pack.assess(ten, readers=["native"])
    assert statuses(found)["exam.loss-10"] == "ruled out"
    used = next(s for s in found.settings if s.id == "loss_limit")
    assert (used.choice, used.default) == ("more-than-10", False)
    careful = pack.assess({**ten, "settings": {"loss_limit": "at-least-10"}}, readers=["native"])
    assert statuses(careful)["exam.loss-10"] == "fired"


def test_a_rule_that_is_off_is_gone_and_printed_with_who_when_and_why(tmp_path: Path) -> None:
    pack = with_site(tmp_path, OFF)
    found = pack.assess(visit({"temperature": {"value": 39, "unit": "Cel"}}), readers=["native"])
    assert "exam.fever" not in statuses(found)
    notice = "rule exam.fever is switched off at this site: Another pathway (Medical director, 2026-03-01)"
    assert notice in found.notices
    assert notice not in small().assess(visit(), readers=["native"]).notices


def test_a_window_that_is_tightened_counts_and_is_printed(tmp_path: Path) -> None:
    found = with_site(tmp_path, TIGHT).assess(visit({"barlow.left": "positive"}), readers=["native"])
    recheck = next(r for r in found.recommendations if r.target == "hip_again")
    assert recheck.window.until == "2026-12-01T10:00:00-06:00"
    assert (
        "rule exam.barlow-first is due within 7 d at this site: Clinic on Mondays (Lead, 2026-03-01)" in found.notices
    )


def test_all_changes_change_the_digest(tmp_path: Path) -> None:
    texts = ["", "timezone: America/Chicago\n", OFF, TIGHT, "settings: {loss_limit: more-than-10}\n"]
    digests = [with_site(tmp_path / str(k), text).digest for k, text in enumerate(texts)]
    assert len({*digests, small().digest}) == len(texts) + 1


def test_the_same_site_gives_the_same_digest(tmp_path: Path) -> None:
    assert with_site(tmp_path / "a", OFF).digest == with_site(tmp_path / "b", OFF).digest


def test_a_time_zone_says_when_a_day_begins(tmp_path: Path) -> None:
    """Born before midnight in Chicago, which is the next day in the offset of the visit."""
    late = {"born": "2026-11-20T05:30:00+00:00", "at": "2026-11-24T12:00:00+00:00"}
    here = with_site(tmp_path, "timezone: America/Chicago\n").assess(late, readers=["native"])
    assert here.age.startswith("5 days")
    assert small().assess(late, readers=["native"]).age.startswith("4 days")


@pytest.mark.parametrize(
    ("text", "code", "key", "says"),
    [
        (OFF.replace("by: Medical director, ", ""), "shape", "$.rules_off[0].by", "'by' is missing"),
        (OFF.replace("Another pathway", "' '"), "shape", "$.rules_off[0].reason", "and nothing is written"),
        (OFF.replace('"2026-03-01"', "March"), "shape", "$.rules_off[0].on", "a date such as 2026-01-31"),
        (OFF.replace('"2026-03-01"', '"2026-02-30"'), "shape", "$.rules_off[0].on", "is out of range"),
        ("settings: {loss_limit: at-least-12}\n", "unknown-setting", "$.settings.loss_limit", "at-least-10"),
        ("settings: {hips: a}\n", "unknown-setting", "$.settings.hips", "loss_limit, lines_set"),
        ("settings: {loss_limt: a}\n", "unknown-setting", "$.settings.loss_limt", "did you mean 'loss_limit'?"),
        ("codes: nowhere.csv\n", "file-missing", "$.codes", "no file 'nowhere.csv' beside the site file"),
        ("contacts: {Help: Note: call}\n", "yaml", "$", "not YAML"),
        ("timezone: Chicago\n", "site", "$.timezone", "no time zone of the IANA database"),
        ("timezone: ../etc\n", "site", "$.timezone", "no time zone of the IANA database"),
        ("priority: {}\n", "shape", "$.priority", "no key here"),
        ("tables: {site-lines: lines.csv}\n", "file-missing", "$.tables.site-lines", "needs 'lines.csv' and its"),
        ("site: There\n", "duplicate-key", "$.site", "written twice"),
    ],
)  # fmt: skip
def test_what_a_site_may_not_do_is_told(text: str, code: str, key: str, says: str, tmp_path: Path) -> None:
    found = refused(tmp_path, text)
    assert [(p.code, p.key) for p in found] == [(code, key)], found
    assert says in found[0].message


def test_all_mistakes_of_a_site_are_told_at_once(tmp_path: Path) -> None:
    text = OFF.replace("fever", "fewer") + TIGHT.replace("7 d", "21 d") + "timezone: Chicago\nsettings: {hips: a}\n"
    assert sorted(p.code for p in refused(tmp_path, text)) == ["site", "site", "unknown-rule", "unknown-setting"]


def test_a_site_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(PackError, match=r"there is no site file '.*site.yaml'.*\[file-missing\]"):
        load_pack(FOLDER, tmp_path / "site.yaml")


def test_a_site_file_that_is_not_utf_8_is_told(tmp_path: Path) -> None:
    (tmp_path / "site.yaml").write_bytes(b"site: caf\xe9\n")
    with pytest.raises(PackError, match=r"not text in UTF-8.*\[yaml\]"):
        load_pack(FOLDER, tmp_path / "site.yaml")


# Tables of the site's own

OWN = {"issuer": "site", "source": "site-lines"}


def test_a_table_of_the_site_is_used_and_printed_with_who_signed_it_off(tmp_path: Path) -> None:
    site = site_with(tmp_path, "site: Here\nsettings: {lines_set: site-lines}\n", "site-lines", OWN)
    found = load_pack(FOLDER, site).assess(visit(), readers=["native"])
    signed = "signed off by First, pediatrician, 2026-01-31; Second, pharmacist, 2026-02-01"
    assert f"table site-lines is supplied by this site, {signed}" in found.notices
    assert "Treatment lines: Lines that a site supplies, issuer site" in found.notices


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ({"signed_off": HEADER["signed_off"][:1]}, "two people sign off a supplied set"),
        (
            {"signed_off": [HEADER["signed_off"][0], {**HEADER["signed_off"][0], "role": "nurse"}]},
            "two people sign off a supplied set",
        ),
        ({"provenance": " "}, "say from which document"),
        ({"unit": "g/dL"}, "the lines are in mg/dL or umol/L"),
        ({"covers": [0, 96]}, "covers the ages from 0 to 336 h"),
        ({"issuer": "inventors"}, "of issuer 'inventors', the source of that choice is not"),
    ],
)
def test_a_supplied_set_that_fails_a_safety_check_is_refused(header: dict[str, Any], says: str, tmp_path: Path) -> None:
    site = site_with(tmp_path, "site: Here\n", "site-lines", {**OWN, **header})
    with pytest.raises(PackError, match=says) as caught:
        load_pack(FOLDER, site)
    assert {p.code for p in caught.value.problems} == {"threshold-set"}


def test_a_site_may_not_replace_a_table_of_the_pack(tmp_path: Path) -> None:
    site = site_with(tmp_path, "site: Here\n", "invented-lines", {"issuer": "inventors"})
    with pytest.raises(PackError, match="may not replace the pack's own table 'invented-lines'") as caught:
        load_pack(FOLDER, site)
    assert {p.code for p in caught.value.problems} == {"site"}


def test_a_change_of_a_site_table_changes_the_digest(tmp_path: Path) -> None:
    def higher(rows: list[list[Any]]) -> None:
        rows[-1][4] = round(rows[-1][4] + 0.1, 1)

    same = load_pack(FOLDER, site_with(tmp_path / "a", "site: Here\n", "site-lines", OWN)).digest
    other = load_pack(FOLDER, site_with(tmp_path / "b", "site: Here\n", "site-lines", OWN, higher)).digest
    assert same != other


def test_a_site_works_with_another_pack_of_the_same_names(tmp_path: Path) -> None:
    edited = copied(tmp_path, ("pack.yaml", "id: small", "id: smaller"))
    (tmp_path / "site.yaml").write_text("site: Here\n" + OFF, encoding="utf-8")
    assert load_pack(edited, tmp_path / "site.yaml").id == "smaller"


CODES = "system,code,finding,value,unit\nurn:local,WT,weight,,g\nurn:local,RRW,red_reflex,white,\n"


def coded(place: Path, table: str) -> Path:
    (place / "local.csv").write_text(table, encoding="utf-8")
    (place / "site.yaml").write_text("site: A site\ncodes: local.csv\n", encoding="utf-8")
    return place / "site.yaml"


def test_a_sites_own_codes_are_read_and_change_the_digest(tmp_path: Path) -> None:
    found = load_pack(FOLDER, coded(tmp_path, CODES))
    assert [(c.code, c.finding, c.value, c.unit) for c in found.site.codes] == [
        ("WT", "weight", None, "g"),
        ("RRW", "red_reflex", "white", None),
    ]
    assert found.digest != load_pack(FOLDER).digest


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ("urn:local,X,nothing,,", "unknown-finding"),
        ("urn:local,X,red_reflex,pink,", "unknown-value"),
        ("urn:local,X,weight,,mL", "unknown-unit"),
        ("urn:local,WT,weight,,kg", "duplicate-id"),
    ],
)
def test_a_code_for_what_the_pack_does_not_have_is_refused(row: str, code: str, tmp_path: Path) -> None:
    with pytest.raises(PackError) as caught:
        load_pack(FOLDER, coded(tmp_path, CODES + row + "\n"))
    assert [(p.code, p.file, p.line) for p in caught.value.problems] == [(code, "local.csv", 4)]
