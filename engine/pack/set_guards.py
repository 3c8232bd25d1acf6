"""No rule is read on the thresholds of another issuer: the choices under which a rule with `beyond` counts."""

from __future__ import annotations

from layette.engine.errors import PackProblem
from layette.engine.pack.written.conditions import lines_in
from layette.engine.pack.written.shapes import ChoiceShape, SettingShape, listed
from layette.engine.pack.written.written import SetGuards, Written
from layette.engine.pack.written.written_pack import WrittenPack


def set_guards(pack: WrittenPack, problems: list[PackProblem]) -> SetGuards:
    """Return, for each rule that asks for a line of a setting's sets, the choices that are of its own issuer."""
    guards: dict[str, tuple[str, tuple[str, ...]]] = {}
    for rule in pack.rules:
        for setting in _settings_asked(rule, pack):
            choices = _of_the_issuer(rule, pack.settings[setting], pack)
            if not choices:
                message = f"no threshold set of '{setting}' is of this rule's issuer"
                problems.append(rule.document.problem(rule.path, "threshold-set", message))
            guards[rule.shape.id] = (setting, choices)
    return guards


def _settings_asked(rule: Written, pack: WrittenPack) -> set[str]:
    """Return the settings that choose the sets of whose lines a rule asks."""
    lines = {*lines_in(rule.shape.when), *lines_in(rule.shape.unless)}
    measures = [pack.measures[line] for line in lines if line in pack.measures]
    return {str((measure.model_extra or {}).get("set")) for measure in measures} & pack.settings.keys()


def _of_the_issuer(rule: Written, setting: SettingShape, pack: WrittenPack) -> tuple[str, ...]:
    mine = {pack.sources[name].issuer for name in rule.shape.sources if name in pack.sources} - {None}
    return tuple(slug for slug, choice in setting.choices.items() if mine & _issuers(choice, pack))


def _issuers(choice: ChoiceShape, pack: WrittenPack) -> set[str | None]:
    return {pack.sources[name].issuer for name in listed(choice.source) if name in pack.sources}
