"""Long chains of conclusions load and decide; what nests too deep is a problem with its line, and never a crash."""

from __future__ import annotations

import pickle
from functools import cache
from pathlib import Path

import pytest
from support.small_pack import Edit, copied, visit

from layette.engine import Pack, PackError, load_pack
from layette.engine.logic.conditions import Status
from layette.engine.logic.native import NativeReader, flag_of
from layette.engine.logic.program import Program
from layette.engine.logic.reference import ReferenceReader
from layette.engine.pack.written.yaml_nodes import DEEPEST

DECISIONS = "decisions/exam.yaml"
LENGTH = 2000
REST = "title: A test, because: For tests., source: invented"


def rule(name: str, when: str, then: str) -> str:
    return f"- {{id: exam.{name}, {REST}, when: {when}, then: [{then}]}}\n"


def chain(length: int) -> list[str]:
    """Rules of which each concludes what the next one tests; the first tests a finding, the last one refers."""
    middle = [rule(f"step-{k}", f"{{sign_{k}: true}}", f"{{conclude: sign_{k + 1}}}") for k in range(length)]
    first = rule("first", "{alertness: hard_to_wake}", "{conclude: sign_0}")
    return [first, *middle, rule("last", f"{{sign_{length}: true}}", "{refer: ophthalmology, priority: stat}")]


@cache
def chained(place: Path, *, backwards: bool) -> Pack:
    rules = chain(LENGTH)
    return load_pack(copied(place, (DECISIONS, "", "".join(reversed(rules) if backwards else rules))))


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize(
    ("alertness", "status"),
    [("hard_to_wake", Status.FIRED), ("alert", Status.RULED_OUT), ("abnormal", Status.UNDECIDED)],
)
def test_a_chain_of_2000_conclusions_loads_and_decides(
    backwards: bool, alertness: str, status: Status, tmp_path_factory: pytest.TempPathFactory
) -> None:
    pack = chained(tmp_path_factory.getbasetemp() / f"chain-{backwards}", backwards=backwards)
    found = pack.decide(pack.read_visit(visit({"alertness": alertness})), readers=["native"])
    of_rule = dict(zip([instance.key for instance in pack.instances], found.statuses, strict=True))
    assert [of_rule[f"exam.{name}"] for name in ("first", "step-0", f"step-{LENGTH - 1}", "last")] == [status] * 4
    assert ReferenceReader(pack.program).read(found.facts.states).statuses == found.statuses


@pytest.mark.parametrize("alertness", ["hard_to_wake", "alert", "abnormal"])
def test_the_whole_answer_follows_a_chain_of_600_conclusions(alertness: str, tmp_path: Path) -> None:
    pack = load_pack(copied(tmp_path, (DECISIONS, "", "".join(chain(600)))))
    found = pack.assess(visit({"alertness": alertness}), readers=["native"])
    assert len(found.trace) == len(pack.instances)
    referred = [one for one in found.recommendations if one.reasons[0].rule == "exam.last"]
    assert bool(referred) is (alertness == "hard_to_wake")
    for one in referred:
        assert {used.subject for used in one.reasons[0].values} >= {"sign_600", "sign_0", "alertness"}


def test_a_ring_of_2000_conclusions_is_told_rule_by_rule(tmp_path: Path) -> None:
    ring = [rule(f"step-{k}", f"{{sign_{k}: true}}", f"{{conclude: sign_{(k + 1) % LENGTH}}}") for k in range(LENGTH)]
    with pytest.raises(PackError) as caught:
        load_pack(copied(tmp_path, (DECISIONS, "", "".join(ring))))
    assert {p.code for p in caught.value.problems} == {"cycle"}
    assert len(caught.value.problems) == LENGTH


def nested(depth: int, before: str, after: str, inner: str = "{alertness: hard_to_wake}") -> str:
    return before * depth + inner + after * depth


def in_block_style(depth: int) -> str:
    """One mapping in another, each on a line of its own."""
    lines = [f"{'  ' * (k + 2)}any:" for k in range(depth)]
    return "\n" + "\n".join(lines) + f"\n{'  ' * (depth + 2)}alertness: hard_to_wake"


def deep(when: str) -> Edit:
    text = "- id: exam.deep\n  title: A test\n  because: For tests.\n  source: invented\n"
    return (DECISIONS, "", f"{text}  then: [{{refer: ophthalmology, priority: urgent}}]\n  when: {when}\n")


@pytest.mark.parametrize("depth", [DEEPEST, 600, 5000])
@pytest.mark.parametrize(
    ("before", "after"), [("{all: ", "}"), ("{any: [", "]}"), ("{none: [", "]}"), ("{alertness: {is: ", "}}")]
)
def test_a_condition_nested_without_end_is_told(depth: int, before: str, after: str, tmp_path: Path) -> None:
    folder = copied(tmp_path, deep(nested(depth, before, after)))
    with pytest.raises(PackError) as caught:
        load_pack(folder)
    line = (folder / DECISIONS).read_text(encoding="utf-8").splitlines().index("- id: exam.deep") + 6
    message = "nested deeper than 50 is not read; in a condition, give the inner part a conclusion of its own"
    assert str(caught.value) == f"not YAML: {message} @ {DECISIONS}:{line} $ [yaml]"


def test_of_a_condition_in_many_lines_the_line_that_is_too_deep_is_told(tmp_path: Path) -> None:
    folder = copied(tmp_path, deep(in_block_style(5000)))
    with pytest.raises(PackError) as caught:
        load_pack(folder)
    start = (folder / DECISIONS).read_text(encoding="utf-8").splitlines().index("- id: exam.deep") + 1
    when, outside = 5, 2  # the line of `when` in the rule; the list of rules and the rule nest already
    assert [p.line - start for p in caught.value.problems] == [when + DEEPEST + 1 - outside]


DEEPEST_NESTS = [
    nested(DEEPEST - 3, "{none: ", "}"),
    nested((DEEPEST - 3) // 2, "{all: [", "]}"),
    nested((DEEPEST - 3) // 2, "{none: [", "]}"),
    nested((DEEPEST - 3) // 2, "{weight_loss: {at_least: 7}, any: [{alertness: sleepy}, ", "]}"),
]


@pytest.mark.parametrize("when", DEEPEST_NESTS)
def test_the_deepest_condition_that_is_read_works_in_every_reader(when: str, tmp_path: Path) -> None:
    pack = load_pack(copied(tmp_path, deep(when)))
    program: Program = pickle.loads(pickle.dumps(pack.program))
    assert program == pack.program
    for alertness in ("hard_to_wake", "alert", "abnormal"):
        found = pack.decide(pack.read_visit(visit({"alertness": alertness})))
        for reader in (ReferenceReader(program), NativeReader(program)):
            assert reader.read(found.facts.states).statuses == found.statuses


def test_the_deepest_guard_of_a_finding_works(tmp_path: Path) -> None:
    """A guard is read as it is written, with every negation in its place."""
    guard = nested(DEEPEST - 4, "{none: ", "}", "{sex_at_birth: male}")
    pack = load_pack(
        copied(tmp_path, ("findings/exam.yaml", "applies_when: {sex_at_birth: male}", f"applies_when: {guard}"))
    )
    assert flag_of([pack.guards["testis"]], pack.program.full)(pack.program.unknown) == -1
    males = pack.decide(pack.read_visit(visit({"testis.both": "not_felt"}, sex_at_birth="male")))
    assert "exam.testes-both-not-felt" in {pack.instances[k].key for k in males.standing}
