"""A rule's condition in words: what the `when` of a rule file says, as a person would read it out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Protocol

from layette.engine.pack.written.rule_shapes import RuleShape
from layette.engine.pack.written.shapes import FindingShape, MeasureShape, SettingShape
from layette.engine.pack.written.subjects import SEX
from layette.mapping.words.times import amount, span

_ORDINALS = {"1": "first", "2": "second", "3": "third"}
_SIDES = {
    "left": "on the left", "right": "on the right", "either": "on either side", "both": "on both sides",
    "one_only": "on one side only",
}  # fmt: skip
_PICKS = {
    "highest": "the highest {}", "lowest": "the lowest {}", "any": "any {}", "every": "every {}",
    "earlier": "the earlier {}", "since_earlier": "the time since the earlier {}", "age": "the age at the {}",
}  # fmt: skip
_BOUNDS = {"at_least": "at least {}", "more_than": "more than {}", "at_most": "at most {}", "below": "below {}"}
_JOINS = {"all": "; and ", "any": "; or "}
UNITS: Mapping[str, str] = {
    "Cel": "°C", "[degF]": "°F", "[lb_av]": "lb", "[oz_av]": "oz", "[in_i]": "in", "{score}": "", "{count}": "",
    "1": "", "/min": "a minute", "/d": "a day", "g/d": "g a day", "d": "days", "wk": "weeks",
}  # fmt: skip
"""UCUM units as people say them; the others are said as they are."""


class Named(Protocol):
    """The parts of a pack that give names to what a condition tests."""

    @property
    def findings(self) -> Mapping[str, FindingShape]:
        """The finding dictionary."""
        ...

    @property
    def measures(self) -> Mapping[str, MeasureShape]:
        """The measures."""
        ...

    @property
    def settings(self) -> Mapping[str, SettingShape]:
        """The settings."""
        ...

    @property
    def subjects(self) -> Any:
        """What knows the unit of a subject."""
        ...


def rule_words(pack: Named, shape: RuleShape) -> str:
    """Return when a rule fires, as one or a few sentences: for whom, when, and when not."""
    parts = []
    if shape.applies_when:
        parts.append(f"For whom: {condition(pack, shape.applies_when)}.")
    if shape.due is not None:
        parts.append(_due(pack, shape))
    if shape.when:
        each = "For each side by itself, when " if shape.each else "When "
        parts.append(f"{each}{condition(pack, shape.when)}.")
    if shape.unless:
        parts.append(f"Not when {condition(pack, shape.unless)}.")
    return " ".join(parts)


def condition(pack: Named, written: Mapping[str, Any]) -> str:
    """Return an authored condition (a mapping of tests, with all, any, none) in words."""
    return "; and ".join(_entry(pack, key, value) for key, value in written.items())


def _entry(pack: Named, key: str, value: Any) -> str:
    if key in _JOINS:
        return _joined([_bracketed(pack, part) for part in value], _JOINS[key])
    if key == "none":
        return _joined([f"not {_bracketed(pack, part, always=True)}" for part in value], _JOINS["all"])
    return _test(pack, key, value)


def _joined(parts: list[str], joint: str) -> str:
    return parts[0] if len(parts) == 1 else f"({joint.join(parts)})"


def _bracketed(pack: Named, part: Mapping[str, Any], *, always: bool = False) -> str:
    text = condition(pack, part)
    plain = len(part) == 1 and not always
    return text if plain else f"({text})"


def _test(pack: Named, key: str, value: Any) -> str:
    name, *views = key.split(".")
    if name == "setting":
        return _setting(pack, views[0], value)
    if name not in pack.findings and name not in pack.measures and name != SEX:
        return f"{_words(name)} is {'concluded' if value is True else 'ruled out'}"
    what = subject_words(pack, key)
    if "unequal" in views:
        return f"{what} {'differs' if value is True else 'does not differ'} between the sides"
    if isinstance(value, Mapping):
        return f"{what} {_mapping(pack, name, views, value)}"
    return f"{what} is {_one_of(value)}"


def subject_words(pack: Named, key: str) -> str:
    """Return what a test looks at: ``red_reflex.left`` is "the red reflex on the left"."""
    name, *views = key.split(".")
    text = _label(pack, name)
    for view in views:
        if view in _ORDINALS:
            text = f"the {_ORDINALS[view]} {text}"
        elif view in _SIDES:
            text = f"{text} {_SIDES[view]}"
        elif view in _PICKS:
            text = _PICKS[view].format(text)
        elif view != "unequal":
            text = f"{text} ({_words(view)})"
    return text


def _label(pack: Named, name: str) -> str:
    if name == SEX:
        return "sex at birth"
    shape = pack.findings.get(name) or pack.measures.get(name)
    return f'"{shape.label}"' if shape else _words(name)


def _setting(pack: Named, name: str, value: Any) -> str:
    shape = pack.settings[name]
    chosen = value if isinstance(value, list) else [value]
    labels = [f'"{shape.choices[one].label}"' if one in shape.choices else str(one) for one in chosen]
    return f'the setting "{shape.label}" is {_or(labels)}'


def _mapping(pack: Named, name: str, views: list[str], value: Mapping[str, Any]) -> str:
    over = f" within the last {amount(str(value['over']))}" if "over" in value else ""
    if "recorded" in value:
        return f"has been recorded{over}"
    if "beyond" in value:
        less = value.get("less")
        lowered = f", lowered by {_number(less['value'])} {less['unit']}" if less else ""
        return f"is beyond {_label(pack, str(value['beyond']))}{lowered}"
    if "setting" in value:
        return f"is {_setting_bounds(pack.settings[str(value['setting'])], _unit(pack, name, views))}"
    if "is" in value:
        return f"is {_one_of(value['is'])}{over}"
    return f"is {_bounds(value, _unit(pack, name, views))}{over}"


def _setting_bounds(shape: SettingShape, unit: str) -> str:
    ways = [
        f'{_bounds(choice.bounds, unit)} under "{choice.label}"' for choice in shape.choices.values() if choice.bounds
    ]
    return f'{", ".join(ways)} (by the setting "{shape.label}")'


def _bounds(value: Mapping[Any, Any], unit: str) -> str:
    said = [_BOUNDS[key].format(_bound(bound, unit)) for key, bound in value.items() if key in _BOUNDS]
    return " and ".join(said)


def _bound(bound: Any, unit: str) -> str:
    if isinstance(bound, str):
        return amount(bound)
    return f"{_number(bound)} {unit}".strip()


def _number(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _unit(pack: Named, name: str, views: list[str]) -> str:
    if {"age", "since_earlier"} & set(views):
        return "hours"
    unit = pack.subjects.unit(name) or ""
    return UNITS.get(unit, unit.strip("{}"))


def _one_of(value: Any) -> str:
    if isinstance(value, bool):
        return "so" if value else "not so"
    return _or([f'"{_words(str(one))}"' for one in (value if isinstance(value, list) else [value])])


def _or(parts: Iterable[str]) -> str:
    *most, last = parts
    return f"{', '.join(most)} or {last}" if most else last


def _words(name: str) -> str:
    return name.replace("_", " ")


def _due(pack: Named, shape: RuleShape) -> str:
    names = shape.due if isinstance(shape.due, list) else [shape.due or ""]
    what = _or([_label(pack, name) for name in names])
    ages = (shape.where or {}).get("age")
    counts = f" (it counts at an age of {_bounds(ages, '')})" if ages else ""
    when = f", wanted {span(shape.window)}" if shape.window else ""
    return f"When {what} is not on record{counts}{when}."
