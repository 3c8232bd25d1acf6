"""Whose treatment lines are used, by whose rules, and what is answered where there are none.

The lines that a site supplies are INVENTED here (`tests/support/supplied_lines.py`); those of NICE CG98 are the pack's.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from support.supplied_lines import Rows, site_with

from layette.engine import Assessment, Pack, PackError, load_pack

BORN, AT = "2026-11-20T08:00:00-06:00", "2026-11-23T08:00:00-06:00"
"""Three days old: the invented line at 72 h is three quarters of the way up."""
US = {"settings": {"bilirubin_set": "aap-2022"}}
NO_RISK = {
    "g6pd": "normal",
    "other_hemolysis": "none",
    "sepsis": "none",
    "unstable_last_24_h": "no",
    "albumin": {"value": 3.5, "unit": "g/dL"},
}
US_RULES = {"jaundice.phototherapy-aap", "jaundice.escalate-aap", "jaundice.exchange-aap"}
UK_RULES = {"jaundice.phototherapy-nice", "jaundice.exchange-nice"}


def assess(
    pack: Pack, bilirubin: float | None, weeks: float | None = 39, unit: str = "mg/dL", **parts: Any
) -> Assessment:
    findings: dict[str, Any] = {}
    if bilirubin is not None:
        findings["serum_bilirubin"] = {"value": bilirubin, "unit": unit}
    if weeks is not None:
        findings["gestational_age"] = {"value": weeks, "unit": "wk"}
    findings.update(parts.pop("findings", {}))
    return pack.assess({"born": BORN, "at": AT, "findings": findings, **parts}, readers=["native"])


def status(found: Assessment, rule: str) -> str:
    return next(t.status for t in found.trace if t.rule == rule)


def ordered(found: Assessment) -> set[str]:
    return {r.target for r in found.recommendations}


@pytest.fixture(scope="module")
def pack() -> Pack:
    return load_pack()


@pytest.fixture(scope="module")
def supplied(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    """The pack at a site that has supplied lines of its own and set them in force."""
    place = tmp_path_factory.mktemp("site")
    return load_pack(None, site_with(place, "site: Here\nsettings: {bilirubin_set: aap-2022}\n"))


# Without a table


def test_the_us_rules_cannot_be_evaluated_without_the_sites_table(pack: Pack) -> None:
    found = assess(pack, 18, **US)
    why = {n.rule: n.why for n in found.cannot_evaluate}
    assert why.keys() >= US_RULES
    assert {why[rule] for rule in US_RULES} == {"cannot evaluate: threshold table 'aap-2022' not supplied"}
    assert {status(found, rule) for rule in US_RULES} == {"undecided"}
    light = next(a for a in found.answers if a.target == "phototherapy")
    assert not light.settled
    assert light.certain is None


def test_the_output_says_that_the_guidelines_own_table_was_not_supplied(pack: Pack) -> None:
    notices = "\n".join(assess(pack, 18).notices)
    assert "NICE CG98, 38 weeks and later, issuer nice; not supplied at this site: AAP 2022" in notices
    assert "table not supplied" in "\n".join(assess(pack, 18, **US).notices)


def test_rules_that_need_no_table_still_work(pack: Pack) -> None:
    found = assess(pack, 18, **US, findings={"jaundice": "legs", "cry": "high_pitched"})
    assert status(found, "jaundice.encephalopathy-signs") == "fired"
    assert "neonatology" in ordered(found)


# NICE, which the pack holds


@pytest.mark.parametrize(("umol", "expected"), [(300, "ruled out"), (301, "fired"), (451, "fired")])
def test_nice_compares_in_its_own_unit_and_above_the_line(pack: Pack, umol: int, expected: str) -> None:
    """At 72 h and 39 weeks the published line of phototherapy is 300, and treatment begins above it."""
    found = assess(pack, umol, unit="umol/L")
    assert status(found, "jaundice.phototherapy-nice") == expected
    assert ("exchange_transfusion" in ordered(found)) == (umol > 450)


@pytest.mark.parametrize("weeks", [35, 36, 37, 37.9, None])
def test_below_38_weeks_nice_never_answers_that_a_value_is_under_the_line(pack: Pack, weeks: float | None) -> None:
    below, above = assess(pack, 200, weeks, "umol/L"), assess(pack, 301, weeks, "umol/L")
    assert status(below, "jaundice.phototherapy-nice") == "undecided"
    assert status(above, "jaundice.phototherapy-nice") == "fired"
    assert not next(a for a in below.answers if a.target == "phototherapy").settled


def test_a_risk_factor_that_is_not_known_keeps_below_the_line_open_under_nice(pack: Pack) -> None:
    """A pack for the US under lines that make no difference for risk factors: never "no phototherapy"."""
    found = assess(pack, 200, unit="umol/L")
    assert status(found, "jaundice.phototherapy-nice") == "ruled out"
    assert not next(a for a in found.answers if a.target == "phototherapy").settled


def test_a_rule_of_one_issuer_is_never_read_on_anothers_lines(pack: Pack, supplied: Pack) -> None:
    """Far above every line: only the rules of the set in force fire, the others are told as not evaluated."""
    uk, us = assess(pack, 30), assess(supplied, 30)
    for found, mine, others in ((uk, UK_RULES, US_RULES), (us, US_RULES, UK_RULES)):
        assert {status(found, rule) for rule in mine} == {"fired"}
        assert {status(found, rule) for rule in others} == {"not applicable"}
        told = {n.rule: n.why for n in found.cannot_evaluate}
        assert others <= told.keys()
        assert all("another issuer's" in told[rule] for rule in others)
        assert not mine & told.keys()


# The site's own lines


@pytest.mark.parametrize(
    ("weeks", "risk", "line"),
    [(39, "negative", 18.5), (39, "positive", 15.5), (35, "negative", 15.7), (40, "negative", 18.8)],
)  # fmt: skip
def test_the_sites_lines_are_used_at_or_above(supplied: Pack, weeks: int, risk: str, line: float) -> None:
    """At 72 h an invented line stands 3 below its level, and treatment begins at the line."""
    known = {**NO_RISK, "dat": risk}
    at, under = (assess(supplied, v, weeks, findings=known) for v in (line, round(line - 0.1, 1)))
    shown = next(m for m in at.measures if m.id == "phototherapy_line")
    assert (shown.low, shown.high) == (str(line), str(line)), shown
    assert "Invented lines" in shown.basis
    assert status(at, "jaundice.phototherapy-aap") == "fired"
    assert status(under, "jaundice.phototherapy-aap") == "ruled out"


def test_a_risk_that_is_not_known_is_undecided_between_the_two_lines(supplied: Pack) -> None:
    assert status(assess(supplied, 17), "jaundice.phototherapy-aap") == "undecided"
    assert status(assess(supplied, 15.4), "jaundice.phototherapy-aap") == "ruled out"
    assert status(assess(supplied, 18.5), "jaundice.phototherapy-aap") == "fired"


def test_a_supplied_table_that_is_not_set_in_force_is_not_used(tmp_path: Path) -> None:
    found = assess(load_pack(None, site_with(tmp_path, "site: Here\n")), 30)
    assert {status(found, rule) for rule in US_RULES} == {"not applicable"}
    assert next(s for s in found.settings if s.id == "bilirubin_set").choice == "nice-cg98"


def test_the_output_names_the_sites_lines_their_signatures_and_what_deserves_a_second_look(supplied: Pack) -> None:
    notices = "\n".join(assess(supplied, 18).notices)
    assert "table aap-2022 is supplied by this site, signed off by First, pediatrician" in notices
    assert "issuer aap" in notices
    assert "deserves a second look" in notices


def test_lines_far_from_what_is_known_of_the_figures_are_refused(tmp_path: Path) -> None:
    def lower(rows: Rows) -> None:
        for row in rows:
            row[4] = round(row[4] - 2, 1)

    with pytest.raises(PackError, match=r"0\.5 is allowed") as caught:
        load_pack(None, site_with(tmp_path, "site: Here\n", change=lower))
    assert {(p.code, p.file) for p in caught.value.problems} == {("threshold-set", "aap-2022.csv")}


def test_lines_in_another_unit_do_not_slip_past_the_figures(tmp_path: Path) -> None:
    """In micromol/L the figures could not be compared; such a set must not pass as checked."""
    with pytest.raises(PackError):
        load_pack(None, site_with(tmp_path, "site: Here\n", header={"unit": "umol/L"}))


def test_nice_itself_cannot_be_replaced_by_a_site(tmp_path: Path) -> None:
    with pytest.raises(PackError, match="may not replace the pack's own table 'nice-cg98'"):
        load_pack(None, site_with(tmp_path, "site: Here\n", "nice-cg98", {"issuer": "nice"}))


@pytest.mark.parametrize(("after_last", "expected"), [("hold", "fired"), ("not_known", "undecided")])
def test_after_its_last_point_a_line_holds_or_is_not_known_as_its_header_says(
    tmp_path: Path, after_last: str, expected: str
) -> None:
    """The invented lines end at 96 h; the sample is of 120 h."""
    text = "site: Here\nsettings: {bilirubin_set: aap-2022}\n"
    pack = load_pack(None, site_with(tmp_path, text, header={"after_last": after_last}))
    sample = {"value": 25, "unit": "mg/dL", "time": "2026-11-25T08:00:00-06:00"}
    findings = {"serum_bilirubin": sample, "gestational_age": {"value": 39, "unit": "wk"}}
    found = pack.assess({"born": BORN, "at": "2026-11-25T09:00:00-06:00", "findings": findings}, readers=["native"])
    assert status(found, "jaundice.phototherapy-aap") == expected
