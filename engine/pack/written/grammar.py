"""Reading the conditions of a pack: from a YAML mapping to a tree of tests on numbered variables.

A mapping of tests means all of them; ``all``, ``any`` and ``none`` nest. The same text is read twice: once to
gather the cut points of every number, and once more, with the cells fixed, for the final tree.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from layette.engine.exact.units import UnitMismatchError, amount, convert, exact, seconds
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.views import Pick, VariableTable, View
from layette.engine.pack.written.yaml_nodes import Path
from layette.engine.terms import BOUNDS

Report = Callable[[Path, str, str], None]
"""Called with (path, code, message) for each mistake."""

HOLDS: Node = AllOf(())

EVENT_LASTS = 86400
"""For how many seconds before the visit an event counts."""

SIDE_VIEWS = ("either", "both", "one_only", "unequal")
PICKS: tuple[Pick, ...] = ("highest", "lowest", "any", "every", "earlier")


@dataclass(frozen=True)
class Asked:
    """A test key taken apart: the view without its side, and which side view was written."""

    view: View
    sided: str


class Grammar:
    """Reads conditions against the names of a pack."""

    def __init__(self, subjects: Subjects, table: VariableTable, report: Report) -> None:
        """Read names from ``subjects``, number variables in ``table``, tell mistakes to ``report``."""
        self.subjects = subjects
        self.table = table
        self.report = report

    def condition(self, written: Any, path: Path, side: str = "") -> Node:
        """Return the tree of one condition; ``side`` is the side that an `each: side` rule stands for."""
        if not isinstance(written, Mapping) or not written:
            self.report(path, "condition-empty", "a condition is a mapping with at least one test")
            return HOLDS
        parts = tuple(self._part(str(key), value, (*path, key), side) for key, value in written.items())
        return parts[0] if len(parts) == 1 else AllOf(parts)

    def _part(self, key: str, value: Any, path: Path, side: str) -> Node:
        if key not in ("all", "any", "none"):
            return self._test(key, value, path, side)
        listed = value if isinstance(value, list) else [value]
        if not listed:
            self.report(path, "condition-empty", f"'{key}' needs at least one condition")
        places = [(*path, k) for k in range(len(listed))] if isinstance(value, list) else [path]
        parts = tuple(self.condition(item, place, side) for item, place in zip(listed, places, strict=True))
        if key == "all":
            return AllOf(parts)
        return AnyOf(parts) if key == "any" else Not(AnyOf(parts))

    def _test(self, key: str, value: Any, path: Path, side: str) -> Node:
        if key.startswith("setting."):
            return self._setting(key.removeprefix("setting."), value, path)
        asked = self._asked(key, path)
        if asked is None:
            return HOLDS
        sides = self.subjects.sides(asked.view.subject)
        if not sides:
            return self._leaf(asked.view, value, path)
        wanted = asked.sided or side
        if not wanted:
            views = ", ".join(f".{s}" for s in (*sides, *SIDE_VIEWS))
            self.report(path, "side-missing", f"'{key}' has sides: say which, one of {views}")
            return HOLDS
        return self._sided(asked.view, wanted, sides, value, path)

    def _sided(self, view: View, wanted: str, sides: tuple[str, ...], value: Any, path: Path) -> Node:
        if wanted == "unequal":
            flag = self.table.flag(replace(view, what="unequal"))
            return self._flag(flag, value, path)
        tests = {s: self._leaf(replace(view, side=s), value, path) for s in sides}
        if wanted in tests:
            return tests[wanted]
        each = tuple(tests.values())
        if wanted == "either":
            return AnyOf(each)
        if wanted == "both":
            return AllOf((*map(self._or_does_not_apply, each), AnyOf(each)))
        others = {s: tuple(Not(tests[o]) for o in sides if o != s) for s in sides}
        return AnyOf(tuple(AllOf((tests[s], *others[s])) for s in sides))

    def _or_does_not_apply(self, test: Node) -> Node:
        """Add "does not apply" to what counts; a flag has no such atom, it is false there."""
        if not isinstance(test, Among) or self.table.entries[test.var].kind == "flag":
            return test
        return Among(test.var, test.mask | 1)

    def _asked(self, key: str, path: Path) -> Asked | None:
        name, *words = key.split(".")
        if not self.subjects.known(name):
            self.report(
                path, "unknown-finding", f"'{name}' is no finding or measure of this pack, and no rule concludes it"
            )
            return None
        view, sided = View(name), ""
        for word in words:
            if sum(w in SIDE_VIEWS or w in ("left", "right") for w in words) > 1 or words.count(word) > 1:
                self.report(path, "unknown-view", f"'{key}' says twice where to look")
                return None
            if word in SIDE_VIEWS or word in ("left", "right"):
                if word not in (*self.subjects.sides(name), *SIDE_VIEWS) or not self.subjects.sides(name):
                    self._no_view(word, name, path)
                sided = word
                continue
            changed = self._viewed(view, word)
            if changed is None:
                self._no_view(word, name, path)
                return None
            if view.pick != "latest" and changed.pick != view.pick:
                self.report(path, "unknown-view", f"'{key}' looks at two times: one of .{view.pick}, .{word}")
                return None
            view = changed
        return self._complete(Asked(view, sided), key, path)

    def _no_view(self, word: str, name: str, path: Path) -> None:
        self.report(path, "unknown-view", f"'{name}' has no view '.{word}'")

    def _viewed(self, view: View, word: str) -> View | None:
        shape = self.subjects.findings.get(view.subject)
        if shape is None:
            return None
        if shape.readings and word.isdigit() and 1 <= int(word) <= shape.readings.at_most:
            return replace(view, attempt=int(word))
        if shape.readings and word in shape.readings.parts:
            return replace(view, part=word)
        if word == "age":
            return replace(view, what="age")
        if word == "since_earlier":
            return replace(view, pick="earlier", what="since")
        if word in shape.qualifier:
            return replace(view, qualifier=word)
        return replace(view, pick=word) if word in PICKS else None

    def _complete(self, asked: Asked, key: str, path: Path) -> Asked | None:
        shape = self.subjects.findings.get(asked.view.subject)
        if shape and shape.readings and (not asked.view.attempt or not asked.view.part):
            parts = "|".join(shape.readings.parts)
            self.report(path, "unknown-view", f"'{key}' is read in parts: write '{asked.view.subject}.1.{parts}'")
            return None
        return asked

    def _leaf(self, view: View, value: Any, path: Path) -> Node:
        """Read the test of one view; which of several readings always needs how far back to look."""
        told = view.over is not None or (isinstance(value, Mapping) and "over" in value)
        if view.pick in ("highest", "lowest", "any", "every") and not told:
            self.report(path, "unknown-view", f"'.{view.pick}' needs how far back to look, such as 'over: 24 h'")
        if isinstance(value, Mapping):
            return self._mapping(view, dict(value), path)
        name = view.subject
        if name in self.subjects.conclusions and name not in self.subjects.measures:
            return self._flag(self.table.flag(view), value, path)
        shape = self.subjects.findings.get(name)
        if shape is not None and shape.event and view.pick == "latest" and view.what == "value" and not view.qualifier:
            return self._among(replace(view, pick="event", over=EVENT_LASTS), value, path)
        if view.pick in ("any", "every"):
            return self._among(view, value, path)
        return self._values(view, value, path)

    def _mapping(self, view: View, value: dict[str, Any], path: Path) -> Node:
        name = view.subject
        if name in self.subjects.conclusions:
            self.report(path, "unknown-value", f"'{name}' is a conclusion: true or false")
            return HOLDS
        if ("recorded" in value or "beyond" in value) and name not in self.subjects.findings:
            self.report(path, "unknown-value", f"'{name}' is no finding: 'recorded' and 'beyond' are asked of findings")
            return HOLDS
        view = self._over(view, value, path)
        self._alone(value, path)
        if "recorded" in value:
            if value["recorded"] is not True:
                self.report(
                    path, "unknown-value", "only 'recorded: true' can be asked: nothing may follow from not looking"
                )
            flag = self.table.flag(replace(view, what="recorded"))
            return Among(flag, 0b10)
        if "beyond" in value:
            return self._beyond(view, value, path)
        if "setting" in value:
            return self._setting_bound(view, value, path)
        if "is" in value:
            return self._leaf(view, value["is"], path)
        return self._bounds(view, value, path)

    def _alone(self, value: dict[str, Any], path: Path) -> None:
        """Report a key that the first of these words would silently leave aside."""
        for word, beside in (("recorded", ()), ("beyond", ("less",)), ("setting", ()), ("is", ())):
            extra = [key for key in value if key != word and key not in beside]
            if word in value and extra:
                self.report(path, "shape", f"'{word}' stands alone, without {', '.join(map(str, extra))}")

    def _over(self, view: View, value: dict[str, Any], path: Path) -> View:
        if "over" not in value:
            return view
        try:
            over = seconds(str(value.pop("over")))
        except UnitMismatchError as error:
            self.report((*path, "over"), "unknown-unit", str(error))
            return view
        if view.pick not in ("highest", "lowest", "any", "every"):
            self.report(path, "unknown-view", "'over' goes with .any, .every, .highest or .lowest")
        return replace(view, over=over)

    def _flag(self, var: int, value: Any, path: Path) -> Node:
        if not isinstance(value, bool):
            self.report(path, "unknown-value", f"this is either true or false, not {value!r}")
        return Among(var, self.table.values_mask(var, ["yes" if value else "no"]))

    def _among(self, view: View, value: Any, path: Path) -> Node:
        names = self._names(view, value, path)
        return Among(self.table.flag(replace(view, what="among", accept=tuple(sorted(names)))), 0b10)

    def _values(self, view: View, value: Any, path: Path) -> Node:
        known = self._known_values(view)
        if view.what in ("age", "since"):
            self.report(path, "unknown-value", "an age or a time is tested by bounds such as {at_least: 14 d}")
            return HOLDS
        if known and view.pick in ("highest", "lowest"):
            self.report(path, "unknown-view", f"'.{view.pick}' is for numbers; for named values write .any or .every")
            return HOLDS
        if not known:
            self.report(path, "unknown-value", f"'{view.subject}' is a number: give bounds such as at_least")
            return HOLDS
        var = self.table.category(view, known)
        return Among(var, self.table.values_mask(var, self._names(view, value, path)))

    def _known_values(self, view: View) -> tuple[str, ...]:
        if view.qualifier:
            return tuple(self.subjects.findings[view.subject].qualifier[view.qualifier])
        if view.subject in self.subjects.measures:
            return self.subjects.categories(view.subject)
        return self.subjects.values(view.subject)

    def _names(self, view: View, value: Any, path: Path) -> list[str]:
        known = self._known_values(view)
        listed = value if isinstance(value, list) else [value]
        unknown = [v for v in listed if v not in known]
        for name in unknown:
            self.report(path, "unknown-value", f"'{name}' is no value of '{view.subject}': {', '.join(known)}")
        if not listed:
            self.report(path, "condition-empty", "an empty list of values can never hold")
        return [v for v in listed if v in known]

    def _bounds(self, view: View, value: dict[str, Any], path: Path) -> Node:
        unknown = [key for key in value if key not in BOUNDS]
        if unknown or not value:
            self.report(path, "shape", f"unknown {unknown}: bounds are {', '.join(BOUNDS)}")
            return HOLDS
        if view.what == "value" and self._known_values(view):
            self.report(path, "unknown-value", f"'{view.subject}' has named values, not bounds")
            return HOLDS
        if view.pick in ("any", "every"):
            self.report(
                path, "unknown-view", f"'.{view.pick}' is for named values; for a number write .highest or .lowest"
            )
            return HOLDS
        found = {key: self._number(view, bound, (*path, key)) for key, bound in value.items()}
        return self._between(view, {k: v for k, v in found.items() if v is not None}, path)

    def _between(self, view: View, found: Mapping[str, Fraction], path: Path) -> Node:
        lo = _tighter(((found[k], k == "at_least") for k in ("at_least", "more_than") if k in found), highest=True)
        hi = _tighter(((found[k], k == "at_most") for k in ("at_most", "below") if k in found), highest=False)
        if lo and hi and (lo[0] > hi[0] or (lo[0] == hi[0] and not (lo[1] and hi[1]))):
            self.report(path, "condition-constant", "no number lies within these bounds")
        var = self.table.number(view)
        return Among(var, self.table.cells_mask(var, lo, hi))

    def _number(self, view: View, bound: Any, path: Path) -> Fraction | None:
        unit = "h" if view.what in ("age", "since") else self.subjects.unit(view.subject)
        if isinstance(bound, bool) or not isinstance(bound, int | float | str):
            self.report(path, "shape", f"a bound is a number or an amount such as '24 h', not {bound!r}")
            return None
        if isinstance(bound, str):
            return self._amount(bound, unit, path)
        if view.what in ("age", "since"):
            self.report(path, "unknown-unit", "an age or a time needs its unit, such as '24 h' or '14 d'")
        return exact(bound)

    def _amount(self, bound: str, unit: str | None, path: Path) -> Fraction | None:
        found = amount(bound)
        try:
            if found is None or unit is None:
                raise UnitMismatchError(f"'{bound}' is not a number with a unit")
            return convert(found[0], found[1], unit)
        except UnitMismatchError as error:
            self.report(path, "unknown-unit", str(error))
            return None

    def _beyond(self, view: View, value: dict[str, Any], path: Path) -> Node:
        line = str(value["beyond"])
        shape = self.subjects.measures.get(line)
        if shape is None or shape.compute != "threshold":
            self.report(path, "unknown-finding", f"'{line}' is no measure that computes a threshold")
            return HOLDS
        less = Fraction(0)
        if "less" in value:
            less = self._less(value["less"], path)
        flag = self.table.flag(replace(view, what="beyond", line=line, less=less))
        return Among(flag, 0b10)

    def _less(self, written: Any, path: Path) -> Fraction:
        """Read ``{value: 2, unit: mg/dL}``; kept in umol/L, exactly, so that any set can use it."""
        try:
            return convert(exact(written["value"]), str(written["unit"]), "umol/L")
        except (UnitMismatchError, KeyError, TypeError, ValueError):
            self.report((*path, "less"), "unknown-unit", "'less' is {value, unit} with mg/dL or umol/L")
            return Fraction(0)

    def _setting(self, name: str, value: Any, path: Path) -> Node:
        shape = self.subjects.settings.get(name)
        if shape is None:
            self.report(path, "unknown-setting", f"there is no setting '{name}'")
            return HOLDS
        listed = value if isinstance(value, list) else [value]
        for choice in listed:
            if choice not in list(shape.choices):
                known = ", ".join(shape.choices)
                self.report(path, "unknown-setting", f"'{choice}' is no choice of '{name}': {known}")
        return self.setting_is(name, [c for c in listed if c in list(shape.choices)])

    def setting_is(self, name: str, choices: list[str]) -> Node:
        """Return the test that setting ``name`` is one of ``choices``."""
        var = self.table.category(View(f"setting:{name}"), tuple(self.subjects.settings[name].choices))
        return Among(var, self.table.values_mask(var, choices))

    def _setting_bound(self, view: View, value: dict[str, Any], path: Path) -> Node:
        name = str(value["setting"])
        shape = self.subjects.settings.get(name)
        if shape is None or any(choice.bounds is None for choice in shape.choices.values()):
            self.report(path, "unknown-setting", f"'{name}' is no setting whose every choice brings bounds")
            return HOLDS
        ways = []
        for choice, chosen in shape.choices.items():
            bounds = {str(k): exact(v) for k, v in (chosen.bounds or {}).items()}
            ways.append(AllOf((self.setting_is(name, [choice]), self._between(view, bounds, path))))
        return AnyOf(tuple(ways))


def _tighter(bounds: Iterator[tuple[Fraction, bool]], *, highest: bool) -> tuple[Fraction, bool] | None:
    found = list(bounds)
    if not found:
        return None
    return max(found, key=lambda b: (b[0], not b[1])) if highest else min(found, key=lambda b: (b[0], b[1]))
