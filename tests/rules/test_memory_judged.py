"""Where a site has what rests on memory judged, nothing that is asked for goes silent: it is asked for, or to judge."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from support.sweeps import every_case

from layette.engine import Assessment, Pack, load_pack
from layette.engine.cases.written import Case
from layette.engine.pack.site_rules import MEMORY
from layette.engine.terms import ASKED, PRIORITIES


@cache
def cases() -> list[Case]:
    """A case for each rule from memory that some case names as a reason."""
    pack = load_pack()
    memory = {name for name, rule in pack.rules.items() if MEMORY in rule.shape.rests_on(pack.sources)}
    named = {rule: case for case in every_case() for rule in case.shape.expect.reasons if rule in memory}
    return list({case.shape.id: case for case in named.values()}.values())


@pytest.fixture(scope="module")
def at_site(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    place: Path = tmp_path_factory.mktemp("site") / "site.yaml"
    place.write_text('site: x\nfrom_memory_to_judge: {reason: x, by: x, on: "2026-03-01"}\n', encoding="utf-8")
    return load_pack(site=place)


def worst(found: Assessment, *, judged: bool) -> dict[str, int]:
    """How pressing each target is asked for; with what is to be judged, looked up, or chased."""
    told = [(r.target, r.priority) for r in (*found.recommendations, *found.to_chase) if r.kind in ASKED]
    if judged:
        told += [(one.target, one.priority) for one in (*found.to_judge, *found.not_on_record)]
    ranks: dict[str, int] = {}
    for target, priority in told:
        ranks[target] = min(PRIORITIES.index(priority), ranks.get(target, len(PRIORITIES)))
    return ranks


@pytest.mark.parametrize("number", range(len(cases())))
def test_what_was_asked_for_is_asked_for_or_to_judge_as_pressingly(number: int, at_site: Pack) -> None:
    given = cases()[number].shape.given
    own = worst(load_pack().assess(given, readers=["native"]), judged=False)
    found = at_site.assess(given, readers=["native"])
    there = worst(found, judged=True)
    assert {target for target, rank in own.items() if there.get(target, len(PRIORITIES)) > rank} == set()
    acted = {reason.rule.partition("@")[0] for r in found.recommendations if r.kind in ASKED for reason in r.reasons}
    judged = {name for name, rule in at_site.rules.items() if len(rule.judged) == len(rule.shape.then)}
    assert len(judged) > 50
    assert acted & judged == set(), "what rests on memory alone is not acted on"
