"""A process that forks while another of its threads reads or builds: the child neither waits for it nor goes on for it.

Each test is a program of its own, which forks for real. A child that hangs is ended by its alarm, and a program by the
test's patience, which is long: nothing is timed.
"""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from support.checkout import ROOT

from layette.engine.logic.rete import rete_available

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")
needs_durable = pytest.mark.skipif(not rete_available(), reason="durable-rules is not installed")

BEGIN = """
import os, signal, sys, threading

inside, go_on = threading.Event(), threading.Event()

def halt():
    inside.set()
    assert go_on.wait(120)

def in_a_child(works):
    \"\"\"Fork; the child works, and ends as any program does.\"\"\"
    child = os.fork()
    if not child:
        signal.alarm(60)
        sys.exit(0 if works() else 1)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
"""

A_LOCK_THAT_IS_HELD = """
from layette.engine.logic.turns import Turns

turns = Turns()
def hold():
    with turns.lock:
        halt()

def take():
    with turns.lock:
        return turns.forks == 1

thread = threading.Thread(target=hold, daemon=True)
thread.start()
assert inside.wait(60)
assert in_a_child(take) == 0
assert turns.lock.locked() and turns.forks == 0  # the parent's is as it was
go_on.set()
thread.join()
assert in_a_child(lambda: in_a_child(lambda: turns.forks == 2) == 0) == 0
"""

HALF_A_VISIT = """
import gc
import durable_rules_engine
from support.program_strategies import NOTHING, flag, rule
from layette.engine.logic.conditions import AllOf, Among
from layette.engine.logic.program import NO, YES, Program
from layette.engine.logic.reference import ReferenceReader
from layette.engine.logic.rete import ReteReader

variables = (flag("fever"), flag("unwell"))
both = AllOf((Among(0, YES), Among(1, YES)))
program = Program(variables, (rule(0, NOTHING, both, [v.full for v in variables]),))
reader, reference = ReteReader(program), ReferenceReader(program)
visits = [[one, two] for one in (NO, YES, NO | YES) for two in (NO, YES, NO | YES)]

class Halting:
    \"\"\"durable-rules, in which the second fact of a visit waits: the first is asserted by then.\"\"\"

    def __init__(self, engine):
        self.engine, self.asserted = engine, 0

    def assert_fact(self, *parts):
        self.asserted += 1
        if self.asserted == 2:
            halt()
        return self.engine.assert_fact(*parts)

    def __getattr__(self, name):
        return getattr(self.engine, name)

def ruleset():
    (only,) = reader._levels[0]._rulesets
    return only

ruleset()._engine = Halting(ruleset()._engine)

def all_right():
    return [reader.read(visit) for visit in visits] == [reference.read(visit) for visit in visits]

found = []
thread = threading.Thread(target=lambda: found.append(reader.read([YES, YES])), daemon=True)
thread.start()
assert inside.wait(60)
assert in_a_child(all_right) == 0
go_on.set()
thread.join()
assert found == [reference.read([YES, YES])]  # the parent's visit comes to its own end
assert all_right()
assert in_a_child(lambda: all_right() and in_a_child(all_right) == 0) == 0  # a child's child builds its own again

def frees_its_own_alone():
    global reader
    freed = []
    durable_rules_engine.delete_ruleset = freed.append
    assert all_right()
    own = ruleset()._handle
    del reader
    gc.collect()
    return freed == [own]

assert in_a_child(frees_its_own_alone) == 0
"""

A_READER_THAT_IS_BEING_BUILT = """
from support.small_pack import FOLDER, visit
from layette.engine import api, load_pack

pack, flat = load_pack(FOLDER), visit({"red_reflex.left": "white"})
build, me = api.build, threading.get_ident()

def slowly(*parts):
    if threading.get_ident() != me:
        halt()
    return build(*parts)

api.build = slowly
answers = []
thread = threading.Thread(target=lambda: answers.append(pack.assess(flat).to_json()), daemon=True)
thread.start()
assert inside.wait(60)
assert in_a_child(lambda: pack.assess(flat).recommendations[0].priority == "stat") == 0
go_on.set()
thread.join()
assert answers == [pack.assess(flat).to_json()]
"""

A_PACK_IN_USE = """
from support.small_pack import FOLDER, visit
from layette.engine import load_pack

pack, stop = load_pack(FOLDER), threading.Event()
flats = [visit({"red_reflex.left": value, "cord_attached": "yes"}) for value in ("white", "present", "dull")]
right = [pack.assess(flat).to_json() for flat in flats]

def assess_on():
    while not stop.is_set():
        assert [pack.assess(flat).to_json() for flat in flats] == right

def again():
    return [pack.assess(flat).to_json() for flat in flats] == right

threads = [threading.Thread(target=assess_on, daemon=True) for _ in range(2)]
for thread in threads:
    thread.start()
ends = [in_a_child(again) for _ in range(4)]
stop.set()
for thread in threads:
    thread.join()
assert ends == [0] * 4 and again()
"""


def run(program: str) -> None:
    paths = os.pathsep.join(filter(None, (str(ROOT / "tests"), os.environ.get("PYTHONPATH"))))
    ended = subprocess.run(
        [sys.executable, "-c", BEGIN + program],
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert ended.returncode == 0, ended.stderr


def test_a_child_begins_with_a_free_lock_and_a_number_of_its_own() -> None:
    run(A_LOCK_THAT_IS_HELD)


@needs_durable
def test_a_child_made_in_the_middle_of_a_visit_reads_its_own_visits_right() -> None:
    run(HALF_A_VISIT)


def test_a_child_made_while_a_reader_is_built_builds_its_own() -> None:
    run(A_READER_THAT_IS_BEING_BUILT)


def test_children_of_a_pack_in_use_give_the_same_bytes() -> None:
    run(A_PACK_IN_USE)
