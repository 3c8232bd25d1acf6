"""A condition in YAML, and the tree of tests that it becomes; written wrongly, the code, the place and the words."""

from __future__ import annotations

from typing import Any

import pytest
from support.small_pack import small

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not
from layette.engine.pack.grammar.conditions import HOLDS, Grammar
from layette.engine.pack.written.views import VariableTable
from layette.engine.pack.written.yaml_nodes import parse, pointer

Told = tuple[str, str, str]
"""Place, code, message."""


def read(text: str, side: str = "") -> tuple[Node, VariableTable, list[Told]]:
    """Read a condition against the names of the small pack as the loader does: for its cut points, then for good."""
    table, told = VariableTable(), []  # type: VariableTable, list[Told]
    written = parse(text, "rules.yaml").data
    for final in (False, True):
        told.clear()
        grammar = Grammar(small().subjects, table, lambda path, code, says: told.append((pointer(path), code, says)))
        node = grammar.condition(written, (), side)
        if not (final or told):
            table.freeze()
    return node, table, told


def shown(node: Node, table: VariableTable) -> str:
    """The tree in one line; a test is ``view = its atoms``."""
    match node:
        case Among(var, mask):
            variable = table.variables()[var]
            atoms = [atom for k, atom in enumerate(variable.atoms) if mask >> k & 1]
            assert mask < 1 << len(variable.atoms)
            return f"{variable.key} = {' | '.join(atoms) or 'nothing'}"
        case Not(part):
            return f"not({shown(part, table)})"
        case AllOf(parts) | AnyOf(parts):
            word = "all" if isinstance(node, AllOf) else "any"
            return f"{word}({'; '.join(shown(part, table) for part in parts)})"


TREES: list[tuple[str, str, str]] = [
    ("one value", "alertness: sleepy", "alertness = sleepy"),
    ("several values", "alertness: [sleepy, alert]", "alertness = alert | sleepy"),
    ("a value behind a word", "alertness: {is: [sleepy]}", "alertness = sleepy"),
    ("several tests", "{alertness: alert, cord_attached: no}", "all(alertness = alert; cord_attached = no)"),
    ("all", "all: [{alertness: alert}, {cord_attached: no}]", "all(alertness = alert; cord_attached = no)"),
    ("any", "any: [{alertness: alert}, {cord_attached: no}]", "any(alertness = alert; cord_attached = no)"),
    ("none", "none: [{alertness: alert}, {cord_attached: no}]", "not(any(alertness = alert; cord_attached = no))"),
    ("none of one", "none: {alertness: alert}", "not(any(alertness = alert))"),
    (
        "nested",
        "{any: [{all: [{alertness: alert}]}, {none: [{alertness: sleepy}]}], cord_attached: yes}",
        "all(any(all(alertness = alert); not(any(alertness = sleepy))); cord_attached = yes)",
    ),
    ("at least", "weight: {at_least: 3}", "weight = exactly 3 | over 3"),
    ("more than", "weight: {more_than: 3}", "weight = over 3"),
    ("at most", "weight: {at_most: 3}", "weight = below 3 | exactly 3"),
    ("below", "weight: {below: 3}", "weight = below 3"),
    ("between, with its ends", "weight: {at_least: 2, at_most: 3}", "weight = exactly 2 | 2 to 3 | exactly 3"),
    ("between, without", "weight: {more_than: 2, below: 3}", "weight = 2 to 3"),
    ("exactly", "weight: {at_least: 3, at_most: 3}", "weight = exactly 3"),
    ("the tighter lower bound", "weight: {at_least: 3, more_than: 3}", "weight = over 3"),
    ("the tighter upper bound", "weight: {at_most: 3, below: 4}", "weight = below 3 | exactly 3"),
    ("in another unit", "weight: {at_least: 3200 g}", "weight = exactly 3.2 | over 3.2"),
    ("exact in another unit", "temperature: {below: '99.5 [degF]'}", "temperature = below 37.5"),
    ("a measure", "weight_loss: {at_least: 7.5}", "weight_loss = exactly 7.5 | over 7.5"),
    ("a measure in its unit", "age_h: {below: 2 d}", "age_h = below 48"),
    ("a conclusion", "danger_sign: true", "danger_sign = yes"),
    ("a conclusion that does not hold", "danger_sign: false", "danger_sign = no"),
    ("the sex", "sex_at_birth: male", "sex_at_birth = male"),
    ("a setting", "setting.loss_limit: more-than-10", "setting:loss_limit = more-than-10"),
    (
        "several choices of a setting",
        "setting.loss_limit: [at-least-10, more-than-10]",
        "setting:loss_limit = at-least-10 | more-than-10",
    ),
    (
        "bounds of a setting",
        "weight_loss: {setting: loss_limit}",
        "any(all(setting:loss_limit = at-least-10; weight_loss = exactly 10 | over 10); "
        "all(setting:loss_limit = more-than-10; weight_loss = over 10))",
    ),
    ("one side", "barlow.left: positive", "barlow.left = positive"),
    ("either side", "barlow.either: positive", "any(barlow.left = positive; barlow.right = positive)"),
    (
        "both sides; one that does not apply counts, but not both",
        "barlow.both: positive",
        "all(barlow.left = does not apply | positive; barlow.right = does not apply | positive; "
        "any(barlow.left = positive; barlow.right = positive))",
    ),
    (
        "one side only",
        "barlow.one_only: positive",
        "any(all(barlow.left = positive; not(barlow.right = positive)); "
        "all(barlow.right = positive; not(barlow.left = positive)))",
    ),
    ("unequal sides", "barlow.unequal: true", "barlow.unequal = yes"),
    ("equal sides", "barlow.unequal: false", "barlow.unequal = no"),
    ("a flag on both sides", "barlow.both: {recorded: true}", "all(barlow.left.recorded = yes; "
     "barlow.right.recorded = yes; any(barlow.left.recorded = yes; barlow.right.recorded = yes))"),
    ("recorded at all", "weight: {recorded: true}", "weight.recorded = yes"),
    ("earlier", "alertness.earlier: sleepy", "alertness.earlier = sleepy"),
    ("earlier on one side", "barlow.left.earlier: positive", "barlow.left.earlier = positive"),
    ("the side last", "barlow.earlier.left: positive", "barlow.left.earlier = positive"),
    ("the age at a reading", "weight.age: {below: 1 d}", "weight.age = below 24"),
    ("the age at the earlier one", "weight.earlier.age: {at_least: 12 h}", "weight.earlier.age = exactly 12 | over 12"),
    ("since the earlier one", "weight.since_earlier: {more_than: 1 wk}", "weight.earlier.since = over 168"),
    ("the highest", "temperature.highest: {more_than: 38, over: 1 h}", "temperature.highest[3600 s] = over 38"),
    ("the lowest", "temperature.lowest: {below: 36, over: 24 h}", "temperature.lowest[86400 s] = below 36"),
    ("any of several", "alertness.any: {is: sleepy, over: 1 h}", "alertness.any[3600 s].among{sleepy} = yes"),
    (
        "every one of several",
        "alertness.every: {is: [sleepy, alert], over: 1 h}",
        "alertness.every[3600 s].among{alert,sleepy} = yes",
    ),
    ("how it was measured", "temperature.route: rectal", "temperature.route = rectal"),
    ("an attempt and a part", "pulse_oximetry.1.hand: {below: 90}", "pulse_oximetry.1.hand = below 90"),
    ("beyond a line", "serum_bilirubin: {beyond: light_line}", "serum_bilirubin.beyond(light_line less 0) = yes"),
    (
        "close below a line, kept in one unit",
        "serum_bilirubin: {beyond: light_line, less: {value: 50, unit: umol/L}}",
        "serum_bilirubin.beyond(light_line less 50) = yes",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "tree"), [pytest.param(text, tree, id=name) for name, text, tree in TREES])
def test_a_condition_becomes_a_tree(text: str, tree: str) -> None:
    node, table, told = read(text)
    assert told == []
    assert shown(node, table) == tree


@pytest.mark.parametrize(("side", "tree"), [("left", "barlow.left = positive"), ("right", "barlow.right = positive")])
def test_a_rule_for_each_side_looks_at_its_own(side: str, tree: str) -> None:
    node, table, told = read("barlow: positive", side)
    assert (shown(node, table), told) == (tree, [])


def test_a_side_that_is_written_is_not_changed_by_the_side_of_the_rule() -> None:
    node, table, _ = read("{barlow.right: positive, alertness: alert}", "left")
    assert shown(node, table) == "all(barlow.right = positive; alertness = alert)"


def test_tests_of_one_view_share_a_variable_and_its_cut_points() -> None:
    node, table, _ = read("any: [{weight: {below: 2}}, {weight: {at_least: 3}}, {weight: {at_least: 3000 g}}]")
    assert isinstance(node, AnyOf)
    assert len({part.var for part in node.parts if isinstance(part, Among)}) == len(table.entries) == 1
    assert shown(node, table) == "any(weight = below 2; weight = exactly 3 | over 3; weight = exactly 3 | over 3)"
    assert table.variables()[0].atoms[1:] == ("below 2", "exactly 2", "2 to 3", "exactly 3", "over 3")


WRONG: list[tuple[str, str, str, str]] = [
    ("alertness", "$", "condition-empty", "a mapping with at least one test"),
    ("{}", "$", "condition-empty", "a mapping with at least one test"),
    ("any: []", "$.any", "condition-empty", "'any' needs at least one condition"),
    ("all: [{alertness: alert}, alert]", "$.all[1]", "condition-empty", "a mapping with at least one test"),
    ("alertness: []", "$.alertness", "condition-empty", "an empty list of values can never hold"),
    ("alertnes: alert", "$.alertnes", "unknown-finding", "'alertnes' is no finding or measure of this pack"),
    ("alertness: awake", "$.alertness", "unknown-value", "'awake' is no value of 'alertness': alert, sleepy"),
    ("none: {alertness: [alert, awake]}", "$.none.alertness", "unknown-value", "'awake' is no value of"),
    ("barlow: positive", "$.barlow", "side-missing", "say which, one of .left, .right, .either, .both, .one_only"),
    ("alertness.left: alert", "$.alertness.left", "unknown-view", "'alertness' has no view '.left'"),
    ("alertness.first: alert", "$.alertness.first", "unknown-view", "'alertness' has no view '.first'"),
    ("danger_sign.earlier: true", "$.danger_sign.earlier", "unknown-view", "'danger_sign' has no view '.earlier'"),
    ("barlow.left.right: positive", "$.barlow.left.right", "unknown-view", "says twice where to look"),
    ("weight.age.age: {below: 1 d}", "$.weight.age.age", "unknown-view", "says twice where to look"),
    ("weight.earlier.highest: {below: 1}", "$.weight.earlier.highest", "unknown-view", "looks at two times"),
    ("pulse_oximetry: {below: 90}", "$.pulse_oximetry", "unknown-view", "write 'pulse_oximetry.1.hand|foot'"),
    ("pulse_oximetry.1: {below: 90}", "$.pulse_oximetry.1", "unknown-view", "is read in parts"),
    ("pulse_oximetry.4.hand: {below: 90}", "$.pulse_oximetry.4.hand", "unknown-view", "has no view '.4'"),
    ("pulse_oximetry.0.hand: {below: 90}", "$.pulse_oximetry.0.hand", "unknown-view", "has no view '.0'"),
    ("temperature.highest: {at_least: 38}", "$.temperature.highest", "unknown-view", "needs how far back to look"),
    ("temperature: {at_least: 38, over: 1 h}", "$.temperature", "unknown-view", "'over' goes with .any, .every"),
    ("temperature.any: {at_least: 38, over: 1 h}", "$.temperature.any", "unknown-view", "write .highest or .lowest"),
    ("alertness.highest: {is: alert, over: 1 h}", "$.alertness.highest", "unknown-view", "write .any or .every"),
    ("temperature.highest: {below: 36, over: 1 mL}", "$.temperature.highest.over", "unknown-unit", "mL"),
    ("weight: 3", "$.weight", "unknown-value", "'weight' is a number: give bounds such as at_least"),
    ("weight.age: 3", "$.weight.age", "unknown-value", "an age or a time is tested by bounds"),
    ("alertness: {at_least: 3}", "$.alertness", "unknown-value", "'alertness' has named values, not bounds"),
    ("weight: {over_than: 3}", "$.weight", "shape", "bounds are at_least, more_than, at_most, below"),
    ("weight: {at_least: true}", "$.weight.at_least", "shape", "a bound is a number or an amount such as"),
    ("weight: {at_least: 3 mL}", "$.weight.at_least", "unknown-unit", "mL"),
    ("weight: {at_least: heavy}", "$.weight.at_least", "unknown-unit", "'heavy' is not a number with a unit"),
    ("weight.age: {at_least: 3}", "$.weight.age.at_least", "unknown-unit", "needs its unit, such as '24 h'"),
    ("weight: {at_least: 3, below: 3}", "$.weight", "condition-constant", "no number lies within these bounds"),
    ("weight: {more_than: 3, at_most: 3}", "$.weight", "condition-constant", "no number lies within these bounds"),
    ("weight: {at_least: 4, at_most: 3}", "$.weight", "condition-constant", "no number lies within these bounds"),
    ("weight: {recorded: false}", "$.weight", "unknown-value", "nothing may follow from not looking"),
    ("weight: {recorded: true, below: 3}", "$.weight", "shape", "'recorded' stands alone, without below"),
    ("alertness: {is: alert, below: 3}", "$.alertness", "shape", "'is' stands alone, without below"),
    ("age_h: {recorded: true}", "$.age_h", "unknown-value", "'age_h' is no finding"),
    ("age_h: {beyond: light_line}", "$.age_h", "unknown-value", "'age_h' is no finding"),
    ("danger_sign: maybe", "$.danger_sign", "unknown-value", "either true or false, not 'maybe'"),
    ("danger_sign: {at_least: 3}", "$.danger_sign", "unknown-value", "is a conclusion: true or false"),
    ("barlow.unequal: left", "$.barlow.unequal", "unknown-value", "either true or false, not 'left'"),
    ("serum_bilirubin: {beyond: age_h}", "$.serum_bilirubin", "unknown-finding", "'age_h' is no measure of"),
    ("serum_bilirubin: {beyond: a_line}", "$.serum_bilirubin", "unknown-finding", "'a_line' is no measure of"),
    (
        "serum_bilirubin: {beyond: light_line, less: 3 mg/dL}",
        "$.serum_bilirubin.less", "unknown-unit", "'less' is {value, unit} with mg/dL or umol/L",
    ),
    (
        "serum_bilirubin: {beyond: light_line, less: {value: 3, unit: kg}}",
        "$.serum_bilirubin.less", "unknown-unit", "'less' is {value, unit} with mg/dL or umol/L",
    ),
    ("setting.limit: none", "$.setting.limit", "unknown-setting", "there is no setting 'limit'"),
    ("setting.loss_limit: none", "$.setting.loss_limit", "unknown-setting", "'none' is no choice of 'loss_limit'"),
    ("weight_loss: {setting: limit}", "$.weight_loss", "unknown-setting", "whose every choice brings bounds"),
    ("weight_loss: {setting: lines_set}", "$.weight_loss", "unknown-setting", "whose every choice brings bounds"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "place", "code", "says"), WRONG)
def test_a_condition_that_is_wrong_is_told_once_where_it_stands(text: str, place: str, code: str, says: str) -> None:
    _, _, told = read(text)
    assert [(where, what) for where, what, _ in told] == [(place, code)]
    assert says in told[0][2]


def test_all_mistakes_are_told_and_what_is_right_is_kept() -> None:
    node, table, told = read("{alertness: [sleepy, awake], weigth: {at_least: 3}, barlow: positive}")
    assert [code for _, code, _ in told] == ["unknown-value", "unknown-finding", "side-missing"]
    assert isinstance(node, AllOf)
    assert node.parts[1:] == (HOLDS, HOLDS)
    assert shown(node.parts[0], table) == "alertness = sleepy"


@pytest.mark.parametrize("value", [None, 3, [], "x", True])
def test_what_is_no_mapping_is_no_condition(value: Any) -> None:
    told: list[str] = []
    grammar = Grammar(small().subjects, VariableTable(), lambda path, code, says: told.append(code))
    assert grammar.condition(value, ()) == HOLDS
    assert told == ["condition-empty"]
