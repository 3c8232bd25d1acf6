"""Conditions as they are written, and the trees that they become."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from support.small_pack import copied, rule, small, statuses, visit

from layette.engine import load_pack
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not
from layette.engine.pack.grammar.conditions import Grammar
from layette.engine.pack.grammar.keys import ParsedKey, parse_key
from layette.engine.pack.grammar.scope import Scope
from layette.engine.pack.written.views import VariableTable, View
from layette.engine.pack.written.yaml_nodes import parse


def told(node: Node, table: VariableTable) -> str:
    """The tree in words: each test as ``variable=atom|atom``."""
    match node:
        case Among(var, mask):
            variable = table.variables()[var]
            return f"{variable.key}=" + "|".join(atom for k, atom in enumerate(variable.atoms) if mask >> k & 1)
        case Not(part):
            return f"not {told(part, table)}"
        case AllOf(parts) | AnyOf(parts):
            word = "all" if isinstance(node, AllOf) else "any"
            return f"{word}({', '.join(told(part, table) for part in parts)})"


def read(text: str, side: str = "") -> tuple[str, list[str]]:
    """Read a condition twice, as the loader does; return its tree in words and the codes of what was reported."""
    table, codes = VariableTable(), list[str]()
    grammar = Grammar(small().subjects, table, lambda path, code, message: codes.append(code))
    written: Any = parse(text, "f").data
    grammar.condition(written, (), side)
    table.freeze()
    return told(grammar.condition(written, (), side), table), codes[: len(codes) // 2]


@pytest.mark.parametrize(
    ("text", "tree"),
    [
        ("{alertness: sleepy}", "alertness=sleepy"),
        ("{alertness: [sleepy, hard_to_wake]}", "alertness=sleepy|hard_to_wake"),
        ("{danger_sign: true}", "danger_sign=yes"),
        ("{danger_sign: false}", "danger_sign=no"),
        ("{sex_at_birth: male}", "sex_at_birth=male"),
        ("{setting.loss_limit: at-least-10}", "setting:loss_limit=at-least-10"),
        ("{weight_loss: {at_least: 7}}", "weight_loss=exactly 7|over 7"),
        ("{weight_loss: {more_than: 7, at_most: 9}}", "weight_loss=7 to 9|exactly 9"),
        ("{weight: {below: 3200 g}}", "weight=below 3.2"),
        ("{age_h: {below: 1 d}}", "age_h=below 24"),
        ("{temperature.highest: {at_least: 38, over: 24 h}}", "temperature.highest[86400 s]=exactly 38|over 38"),
        ("{temperature.age: {at_most: 2 d}}", "temperature.age=below 48|exactly 48"),
        ("{temperature.route: rectal}", "temperature.route=rectal"),
        ("{alertness.any: {is: [sleepy], over: 2 h}}", "alertness.any[7200 s].among{sleepy}=yes"),
        ("{temperature: {recorded: true}}", "temperature.recorded=yes"),
        ("{temperature: {recorded: true, over: 2 h}}", "temperature.highest[7200 s]=exactly 25|over 25"),
        ("{temperature.any: {recorded: true, over: 2 h}}", "temperature.highest[7200 s]=exactly 25|over 25"),
        ("{cord_attached: {recorded: true, over: 2 h}}", "cord_attached.any[7200 s].among{no,yes}=yes"),
        ("{serum_bilirubin: {beyond: light_line}}", "serum_bilirubin.beyond(light_line less 0)=yes"),
        ("{pulse_oximetry.2.foot: {below: 90}}", "pulse_oximetry.2.foot=below 90"),
        ("{barlow.left: positive}", "barlow.left=positive"),
        ("{barlow.either: positive}", "any(barlow.left=positive, barlow.right=positive)"),
        ("{barlow.one_only: positive}", "any(all(barlow.left=positive, not barlow.right=positive), "
                                        "all(barlow.right=positive, not barlow.left=positive))"),
        ("{barlow.unequal: true}", "barlow.unequal=yes"),
        ("{testis.both: not_felt}", "all(testis.left=does not apply|not_felt, testis.right=does not apply|not_felt, "
                                    "any(testis.left=not_felt, testis.right=not_felt))"),
        ("{none: {alertness: alert}}", "not any(alertness=alert)"),
        ("{alertness: alert, any: [{danger_sign: true}, {weight_loss: {below: 7}}]}",
         "all(alertness=alert, any(danger_sign=yes, weight_loss=below 7))"),
        ("{weight_loss: {setting: loss_limit}}",
         "any(all(setting:loss_limit=at-least-10, weight_loss=exactly 10|over 10), "
         "all(setting:loss_limit=more-than-10, weight_loss=over 10))"),
    ],
)  # fmt: skip
def test_a_condition_becomes_a_tree(text: str, tree: str) -> None:
    assert read(text) == (tree, [])


def test_a_rule_for_each_side_reads_its_own() -> None:
    assert read("{barlow: positive, barlow.earlier: positive}", "right")[0] == (
        "all(barlow.right=positive, barlow.right.earlier=positive)"
    )


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("{}", ["condition-empty"]),
        ("{any: []}", ["condition-empty"]),
        ("{alertness: []}", ["condition-empty"]),
        ("{barlow: positive}", ["side-missing"]),
        ("{barlow.left.right: positive}", ["unknown-view"]),
        ("{alertness.left: sleepy}", ["unknown-view"]),
        ("{temperature.highest: {at_least: 38}}", ["unknown-view"]),
        ("{temperature.earlier.highest: {at_least: 38, over: 2 h}}", ["unknown-view"]),
        ("{alertness: {is: sleepy, at_least: 3}}", ["shape"]),
        ("{weight: {at_least: 3 h}}", ["unknown-unit"]),
        ("{age_h: {at_least: 9, below: 9}}", ["condition-constant"]),
        ("{temperature: {recorded: false}}", ["unknown-value"]),
        ("{temperature: {recorded: false, over: 2 h}}", ["shape"]),
        ("{temperature.highest: {recorded: true, over: 2 h}}", ["shape"]),
        ("{temperature: {recorded: true, over: 2 h, below: 38}}", ["shape"]),
        ("{danger_sign: {is: true}}", ["unknown-value"]),
        ("{serum_bilirubin: {beyond: weight_loss}}", ["unknown-finding"]),
        ("{serum_bilirubin: {beyond: light_line, less: 2}}", ["unknown-unit"]),
        ("{setting.loss_limit: [at-least-10, at-least-99]}", ["unknown-setting"]),
    ],
)
def test_a_mistake_in_a_condition_is_reported_once(text: str, codes: list[str]) -> None:
    assert read(text)[1] == codes


@pytest.mark.parametrize(
    ("key", "parsed"),
    [
        ("weight", ParsedKey(View("weight"), "")),
        ("barlow.left.earlier", ParsedKey(View("barlow", pick="earlier"), "left")),
        ("barlow.since_earlier.both", ParsedKey(View("barlow", pick="earlier", what="since"), "both")),
        ("pulse_oximetry.3.hand", ParsedKey(View("pulse_oximetry", attempt=3, part="hand"), "")),
        ("pulse_oximetry.hand", None),
        ("pulse_oximetry.9.hand", None),
        ("nothing.left", None),
    ],
)
def test_a_key_is_taken_apart(key: str, parsed: ParsedKey | None) -> None:
    reported: list[str] = []
    scope = Scope(small().subjects, VariableTable(), lambda path, code, message: reported.append(code))
    assert parse_key(key, (), scope) == parsed
    assert bool(reported) is (parsed is None)


@pytest.mark.parametrize(
    ("hour", "status"), [(None, "undecided"), ("09", "fired"), ("07", "undecided")], ids=["none", "within", "before"]
)
def test_recorded_within_a_period_is_true_or_undecided(hour: str | None, status: str, tmp_path: Path) -> None:
    """The visit is at ten."""
    folder = copied(tmp_path, rule("- id: exam.more\n  when: {temperature: {recorded: true, over: 2 h}}"))
    warm = {"value": 37, "unit": "Cel", "time": f"2026-11-24T{hour}:00:00-06:00"}
    found = load_pack(folder).assess(visit({"temperature": warm} if hour else {}), readers=["native"])
    assert statuses(found)["exam.more"] == status
