"""Every worked case of the shipped pack answers as it says, and every rule is shown in all three ways."""

from __future__ import annotations

from layette.engine import load_pack
from layette.mapping.cores import cores


def test_every_case_of_the_shipped_pack_answers_as_it_says() -> None:
    report = load_pack().run_cases(processes=cores())
    assert report.failures == []
    assert report.problems == []
    assert report.passed > 1200
    assert report.unseen == {}
