"""Tests of one `xdist_group` stay with one worker, so that what they share is made once."""

from __future__ import annotations

import pytest


@pytest.mark.xdist_group("groups")
def test_a_group_is_named_to_what_hands_out_the_tests(request: pytest.FixtureRequest) -> None:
    if not getattr(request.config.option, "loadgroup", False):
        pytest.skip("this run is not spread by groups (-n auto --dist loadgroup)")
    assert request.node.nodeid.endswith("@groups"), "pytest-xdist and this pytest do not fit: groups are spread"
