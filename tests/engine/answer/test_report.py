"""What the pack and the site say beside the rules comes out: conflicts, what a recheck looks at, whom to call."""

from __future__ import annotations

from pathlib import Path

from support.small_pack import FOLDER, copied, small, visit

from layette.engine import Assessment, load_pack
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
