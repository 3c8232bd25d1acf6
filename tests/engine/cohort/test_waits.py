"""What the undecided rules of a cohort wait for is what each rule of each visit waits for by itself."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from support.sweeps import every_case

from layette.engine.api import load_pack
from layette.engine.cohort import waits
from layette.engine.cohort.coded import KnownStates, concluded, read_known
from layette.engine.cohort.counted import differing, statuses_of
from layette.engine.cohort.waits import Waits
from layette.engine.logic.conditions import STATUSES, Status
from layette.engine.logic.native import InCodes, NativeReader
from layette.engine.logic.planes import PlanesReader
from layette.engine.states.facts import Facts

GROUPS = 3


@pytest.mark.parametrize(("kept", "sparse"), [(50_000, 1 << 16), (9, 1)])
def test_each_case_waits_for_what_its_rules_wait_for(kept: int, sparse: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for all answers, and with so little that they are forgotten all the time, and codes are sorted."""
    monkeypatch.setattr(waits, "_KEPT", kept)
    monkeypatch.setattr(waits, "_SPARSE", sparse)
    pack = load_pack()
    plan, native, program = pack.plan, NativeReader(pack.program, frozenset()), pack.program
    known, readings = KnownStates(program.full), list[InCodes]()
    for case in every_case()[:: 20 if kept > 1000 else 100]:
        visit = pack.visit_reader().attempt(case.shape.given)
        if visit is not None:
            states = Facts(plan.states, visit, {**plan.states.choices, **visit.settings}).states
            known.add(states, [var for var, state in enumerate(states) if state != program.full[var]])
            readings.append(native.read_codes(states))
    groups = np.arange(len(readings), dtype=np.int64) % GROUPS
    found = read_known(PlanesReader(program), known)
    statuses = statuses_of(found)
    assert differing(statuses, [one.statuses for one in readings]) == []
    one = Waits(plan).of(
        statuses,
        lambda var: concluded(found, var) if var in program.conclusions else known.coded(var),
        groups,
        GROUPS,
    )
    wanted = [_waits(reading) for reading in readings]
    counted = Counter((*pair, int(groups[k])) for k, pairs in enumerate(wanted) for pair, _ in pairs)
    assert counted == {(*pair, k): n for *pair, visits in one.pairs for k, n in enumerate(visits) if n}
    assert [*one.findings] == [len({finding for (_, finding), _ in pairs}) for pairs in wanted]
    for k, pairs in enumerate(wanted):
        told = [finding for finding, visits in one.pressing if visits[k]]
        assert told == sorted({finding for (_, finding), pressing in pairs if pressing})


def _waits(reading: InCodes) -> set[tuple[tuple[str, str], bool]]:
    """Return the pairs of a visit, rule by rule, and whether an emergency may hang on each."""
    pack = load_pack()
    entries, found = pack.table.entries, set()
    for number, code in enumerate(reading.statuses):
        if STATUSES[code] is Status.UNDECIDED:
            for var in pack.plan.open_rules.of(number, Status.UNDECIDED, reading.states).waits_for:
                pair = pack.instances[number].rule.shape.id, entries[var].view.subject
                found.add((pair, pack.plan.rule_priorities[number] == "stat"))
    return found
