"""What the pack and the site say beside the rules comes out: conflicts, what a recheck looks at, whom to call."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.small_pack import FOLDER, copied, small, visit

from layette.engine import Assessment, PackError, load_pack
from layette.mapping.text import render

SICK = visit({"temperature": {"value": 39, "unit": "Cel"}, "red_reflex.left": "absent", "barlow.left": "positive"})


def changed(place: Path, old: str, new: str) -> Assessment:
    """The assessment of the same visit by the small pack with its targets changed."""
    return load_pack(copied(place, ("targets/all.yaml", old, new))).assess(SICK, readers=["native"])


def test_two_proposals_that_exclude_each_other_are_named_with_their_rules(tmp_path: Path) -> None:
    eye = "ophthalmology: {kind: refer, label: Ophthalmology,"
    notices = changed(tmp_path, eye, f"{eye} conflicts_with: [emergency_evaluation],").notices
    rules = "(exam.red-reflex-abnormal, exam.fever)"
    assert f"'Ophthalmology' and 'Emergency evaluation' exclude each other: decide which {rules}" in notices


def test_a_pair_that_names_each_other_is_told_once(tmp_path: Path) -> None:
    eye, sick = "ophthalmology: {kind: refer,", "emergency_evaluation: {kind: refer,"
    edits = [("targets/all.yaml", eye, f"{eye} conflicts_with: [emergency_evaluation],")]
    edits.append(("targets/all.yaml", sick, f"{sick} conflicts_with: [ophthalmology],"))
    notices = load_pack(copied(tmp_path, *edits)).assess(SICK, readers=["native"]).notices
    assert len([notice for notice in notices if "exclude each other" in notice]) == 1


@pytest.mark.parametrize(("status", "told"), [("active", 1), ("completed", 0), ("revoked", 0)])
@pytest.mark.parametrize("other", ["phototherapy", "ophthalmology"])
def test_what_is_ordered_already_excludes_what_is_proposed(other: str, status: str, told: int, tmp_path: Path) -> None:
    """Whichever of the two names the other."""
    name, excluded = ("ophthalmology", "phototherapy") if other == "phototherapy" else ("phototherapy", "ophthalmology")
    kind = {"ophthalmology": "refer", "phototherapy": "order"}[name]
    edit = ("targets/all.yaml", f"{name}: {{kind: {kind},", f"{name}: {{kind: {kind}, conflicts_with: [{excluded}],")
    order = {"target": "phototherapy", "status": status, "time": "2026-11-23T10:00:00-06:00"}
    found = load_pack(copied(tmp_path, edit)).assess({**SICK, "history": {"orders": [order]}}, readers=["native"])
    text = (
        "'Ophthalmology' and 'Phototherapy', which is ordered already, exclude each other: "
        "decide which (exam.red-reflex-abnormal)"
    )
    assert [notice for notice in found.notices if "exclude" in notice] == [text] * told


@pytest.mark.parametrize(
    ("other", "says"), [("barlow", "no target 'barlow'"), ("cord_care", "does not exclude itself")]
)
def test_only_another_target_can_be_excluded(other: str, says: str, tmp_path: Path) -> None:
    cord = "cord_care: {kind: guide,"
    with pytest.raises(PackError, match=says):
        changed(tmp_path, cord, f"{cord} conflicts_with: [{other}],")


def test_what_is_not_proposed_conflicts_with_nothing(tmp_path: Path) -> None:
    eye = "ophthalmology: {kind: refer, label: Ophthalmology,"
    notices = changed(tmp_path, eye, f"{eye} conflicts_with: [phototherapy],").notices
    assert not any("exclude each other" in notice for notice in notices)


def test_a_recheck_names_what_it_looks_at_again_on_its_side(tmp_path: Path) -> None:
    hips = "hip_again: {kind: recheck, label: Hips again,"
    made = changed(tmp_path, hips, f"{hips} recheck_of: [barlow, temperature],")
    recheck = next(one for one in made.recommendations if one.target == "hip_again")
    assert recheck.looks_at == ("Barlow test, left", "Temperature")
    assert "Look at: Barlow test, left; Temperature." in render(made, full=True)


def test_the_contacts_of_the_site_are_in_the_answer_and_at_the_end_of_the_page(tmp_path: Path) -> None:
    (tmp_path / "site.yaml").write_text("site: Here\ncontacts: {ward: extension 12}\n", encoding="utf-8")
    made = load_pack(FOLDER, tmp_path / "site.yaml").assess(SICK, readers=["native"])
    assert made.contacts == {"ward": "extension 12"}
    assert "Contacts of this site: ward: extension 12." in render(made)
    assert "Contacts" not in render(small().assess(SICK, readers=["native"]))


def test_an_open_rule_names_what_alone_can_settle_it() -> None:
    traced = {one.rule: one for one in small().assess(visit(), readers=["native"]).trace}
    assert set(traced["exam.danger"].settled_by) == {"Alertness", "Temperature"}
    assert "Barlow test, left" in traced["exam.barlow-again@left"].settled_by
    assert all(one.settled_by == () for one in traced.values() if one.status == "ruled out")


@pytest.mark.parametrize(("sex", "said"), [("female", True), ("male", False), ("unknown", False)])
def test_what_is_recorded_and_does_not_apply_is_told(sex: str, said: bool) -> None:
    """A boy who is registered as a girl would else have no testis that is missing."""
    visit = {
        "born": "2026-11-24T08:30:00-06:00", "at": "2026-11-28T10:00:00-06:00", "sex_at_birth": sex,
        "findings": {"testis.both": "not_felt"},
    }  # fmt: skip
    warned = [text for text in load_pack().assess(visit).warnings if text.startswith("Testis")]
    what = "recorded (not felt), and not used: it does not apply, by what is known of Sex at birth"
    assert warned == ([f"Testis, {side}: {what}" for side in ("left", "right")] if said else [])
