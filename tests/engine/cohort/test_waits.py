"""What undecided rules wait for, told in numbers, is what each rule waits for by itself."""

from __future__ import annotations

import pytest
from support.sweeps import every_case

from layette.engine.api import load_pack
from layette.engine.cohort import waits
from layette.engine.cohort.counted import told
from layette.engine.cohort.waits import Waits
from layette.engine.logic.conditions import Status
from layette.engine.logic.native import NativeReader
from layette.engine.logic.planes import STATUSES
from layette.engine.states.facts import Facts


@pytest.mark.parametrize("kept", [50_000, 9])
def test_each_case_waits_for_what_its_rules_wait_for(kept: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for all answers, and with so little that they are forgotten all the time."""
    monkeypatch.setattr(waits, "_KEPT", kept)
    pack = load_pack()
    plan, native, found = pack.plan, NativeReader(pack.program, frozenset()), Waits(pack.plan)
    for case in every_case()[:: 40 if kept > 1000 else 200]:
        visit = pack.visit_reader().attempt(case.shape.given)
        if visit is None:
            continue
        reading = native.read(Facts(plan.states, visit, {**plan.states.choices, **visit.settings}).states)
        wanted, pressing = set(), set()
        for number, status in enumerate(reading.statuses):
            if status is Status.UNDECIDED:
                for var in plan.open_rules.of(number, status, reading.states).waits_for:
                    finding = pack.table.entries[var].view.subject
                    wanted.add((pack.instances[number].rule.shape.id, finding))
                    pressing |= {finding} if plan.rule_priorities[number] == "stat" else set()
        one = found.of(told(reading.statuses), reading.states)
        assert {found.pairs[pair] for pair in one.pairs} == wanted
        assert one.pressing == sorted(pressing)
        assert one.findings == len({finding for _, finding in wanted})
        assert [STATUSES[code] for code in told(reading.statuses)] == [*reading.statuses]
