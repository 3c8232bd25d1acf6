"""What a site changes in the rules: some are off, some are due earlier, and those from memory may be judged.

A site is told of what it cannot do in its own file, never in the pack's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from layette.engine.errors import PackProblem, nearest
from layette.engine.pack.checks.deadlines import contradiction
from layette.engine.pack.site import Site, SiteShape, Tightened
from layette.engine.pack.written.conditions import keys_in
from layette.engine.pack.written.rule_shapes import Consequence, FirstOf, RuleShape, WindowShape, rough, windows_of
from layette.engine.pack.written.shapes import listed
from layette.engine.pack.written.subjects import inputs_of
from layette.engine.pack.written.written import Written
from layette.engine.pack.written.written_pack import WrittenPack
from layette.engine.pack.written.yaml_nodes import Document, Path
from layette.engine.terms import ASKED, Priority

MEMORY = "from-memory"
_SPAN: dict[Priority, str] = {"stat": "1 h", "asap": "24 h", "urgent": "7 d"}
"""When a priority ends where the rule gives no window; `routine` has no end of its own."""


def apply_site(pack: WrittenPack, site: Site, problems: list[PackProblem]) -> Sequence[Written]:
    """Return the rules of ``pack`` with what a site changes in them; what it may not change goes to ``problems``."""
    if site.shape is None or site.document is None:
        return pack.rules
    shape, document = site.shape, site.document
    mistakes = [*_unknown(pack, shape, document), *_missed(pack, shape, document)]
    problems += mistakes
    off = frozenset() if mistakes else site.rules_off
    rules = [_without(rule, off) for rule in pack.rules if rule.shape.id not in off]
    for k, change in enumerate(shape.windows):
        for number, rule in enumerate(rules):
            if rule.shape.id == change.rule:
                rules[number] = _tightened(rule, k, change, document, problems)
    if shape.from_memory_to_judge is None:
        return rules
    return [_to_judge(rule, pack, shape.from_memory_to_judge.on) for rule in rules]


def _unknown(pack: WrittenPack, shape: SiteShape, document: Document) -> Iterator[PackProblem]:
    known = [rule.shape.id for rule in pack.rules]
    for path, name in _named(shape):
        if name not in known:
            near = nearest(name, known, "`layette rules` lists them")
            yield document.problem(path, "unknown-rule", f"the pack has no rule '{name}'; {near}")


def _named(shape: SiteShape) -> Iterable[tuple[Path, str]]:
    yield from ((("rules_off", k, "rule"), o.rule) for k, o in enumerate(shape.rules_off))
    yield from ((("windows", k, "rule"), w.rule) for k, w in enumerate(shape.windows))


def _without(rule: Written, off: frozenset[str]) -> Written:
    """A rule that is off needs no replacing."""
    if off.isdisjoint(rule.shape.instead_of):
        return rule
    left = [name for name in rule.shape.instead_of if name not in off]
    return replace(rule, shape=rule.shape.model_copy(update={"instead_of": left}))


# --- rules that others need


def _missed(pack: WrittenPack, shape: SiteShape, document: Document) -> Iterator[PackProblem]:
    """Yield each rule that is off and alone concludes what the rules that stay ask of."""
    off = {one.rule for one in shape.rules_off}
    concluded = {rule.shape.id: [then.conclude for then in rule.shape.then if then.conclude] for rule in pack.rules}
    left = {name for rule, names in concluded.items() if rule not in off for name in names}
    asked = _askers(pack, [rule.shape for rule in pack.rules if rule.shape.id not in off])
    for k, one in enumerate(shape.rules_off):
        for name in concluded.get(one.rule, ()):
            if name not in left and name in asked:
                message = (
                    f"'{one.rule}' says whether there is '{name}', which {_few(asked[name])} ask for; "
                    "switch these off as well, or keep this one"
                )
                yield document.problem(("rules_off", k, "rule"), "site", message)


def _askers(pack: WrittenPack, rules: Iterable[RuleShape]) -> dict[str, list[str]]:
    """Return for each name the rules, measures and findings that ask for it."""
    asked: dict[str, list[str]] = {}
    for shape in rules:
        for key in dict.fromkeys(key.split(".")[0] for part in (shape.when, shape.unless) for key in keys_in(part)):
            asked.setdefault(key, []).append(f"'{shape.id}'")
    for name, measure in pack.measures.items():
        for subject in inputs_of(measure):
            asked.setdefault(subject, []).append(f"the measure '{name}'")
    for name, finding in pack.findings.items():
        for key in keys_in(finding.applies_when):
            asked.setdefault(key.split(".")[0], []).append(f"the finding '{name}'")
    return asked


def _few(names: Sequence[str], most: int = 3) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


# --- earlier deadlines


class _RefusedError(Exception):
    """What a site may not do: the key of its file, the code of the problem, and why."""

    def __init__(self, key: str, message: str, code: str = "site") -> None:
        super().__init__(message)
        self.key, self.code = key, code


def _tightened(rule: Written, k: int, change: Tightened, document: Document, problems: list[PackProblem]) -> Written:
    """Return a rule with the deadlines that a site makes earlier; the rule as it is where it may not."""
    try:
        return replace(rule, shape=_earlier(rule.shape, change))
    except _RefusedError as refused:
        problems.append(document.problem(("windows", k, refused.key), refused.code, str(refused)))
        return rule


def _earlier(shape: RuleShape, change: Tightened) -> RuleShape:
    meant = [then for then in shape.then if then.verb in ASKED and change.target in (None, then.target)]
    if not meant:
        raise _nothing_meant(shape, change)
    before = [_windows(then, shape) for then in meant]
    after = [_ends(windows, change) for windows in before]
    if all(_longer(windows, change) for windows in before):
        said = " and ".join(dict.fromkeys(str(window.until) for windows in before for window in windows))
        raise _RefusedError(_key(change), f"a site may only shorten a window: the pack says {said}")
    for then, windows in zip(meant, after, strict=True):
        wrong = contradiction(then.priority or "routine", windows)
        if wrong:
            raise _RefusedError(_key(change), f"{then.target}: {wrong}", "priority-window")
    if shape.due is not None:
        return shape.model_copy(update={"window": _joined(after[0])})
    made = {id(then): _ending(then, old, new) for then, old, new in zip(meant, before, after, strict=True)}
    return shape.model_copy(update={"then": [made.get(id(then), then) for then in shape.then]})


def _nothing_meant(shape: RuleShape, change: Tightened) -> _RefusedError:
    names = ", ".join(then.target for then in shape.then if then.verb in ASKED)
    if change.target and names:
        return _RefusedError("target", f"'{change.rule}' does not ask for '{change.target}'; it asks for {names}")
    return _RefusedError("rule", f"'{change.rule}' asks nobody to do something by a time that a site could shorten")


def _key(change: Tightened) -> str:
    return "within" if change.within else "until"


def _windows(then: Consequence, shape: RuleShape) -> tuple[WindowShape, ...]:
    """Return the windows of a consequence, or the span of its priority; that of `routine` has no end."""
    if shape.due is not None:
        return windows_of(shape.window)
    if then.window is not None:
        return windows_of(then.window)
    return (WindowShape(until=then.within or _SPAN.get(then.priority or "routine")),)


def _ends(windows: Sequence[WindowShape], change: Tightened) -> tuple[WindowShape, ...]:
    return tuple(_ending_by(window, change) for window in windows)


def _ending_by(window: WindowShape, change: Tightened) -> WindowShape:
    """Return one window with the end that a site gives it, if that is earlier."""
    from_visit = window.after in ("visit", "next_visit")
    if change.within and not from_visit:
        counted = f"it counts from '{window.after}'" + (f" until {window.until}" if window.until else "")
        raise _RefusedError(
            "within", f"'within' counts from the visit, and this rule does not: {counted}; write 'until'"
        )
    end = str(change.within or change.until)
    if window.until is not None and rough(end) >= rough(window.until):
        return window
    if window.start is not None and rough(window.start) > rough(end):
        message = f"the rule begins after {window.start}, and would end ({end}) before it begins"
        raise _RefusedError(_key(change), message)
    return window.model_copy(update={"until": end, "after": "visit" if from_visit else window.after})


def _longer(windows: Sequence[WindowShape], change: Tightened) -> bool:
    end = rough(str(change.within or change.until))
    return all(window.until is not None and end > rough(window.until) for window in windows)


def _ending(then: Consequence, before: Sequence[WindowShape], after: Sequence[WindowShape]) -> Consequence:
    """Return a consequence with its new end, written as the old one was."""
    if before == after:
        return then
    if then.window is None:
        return then.model_copy(update={"within": after[0].until})
    return then.model_copy(update={"window": _joined(after)})


def _joined(windows: Sequence[WindowShape]) -> WindowShape | FirstOf:
    return windows[0] if len(windows) == 1 else FirstOf(first_of=list(windows))


# --- what rests on memory


def _to_judge(rule: Written, pack: WrittenPack, on: str) -> Written:
    """Return a rule from memory as one that a person judges: it proposes nothing, and replaces no rule that does.

    A rule that somebody reviewed is acted on, while that review holds ``on`` the day on which the site chose this. What
    is wanted by an age (`due`), said or advised against is no act on a value, and stays.
    """
    shape, reviewed = rule.shape, rule.shape.reviewed
    if shape.due is not None or (reviewed is not None and reviewed.until >= on):
        return rule
    judged = frozenset(
        number
        for number, then in enumerate(shape.then)
        if then.verb in ASKED and _from_memory([*shape.sources, *listed(then.source)], pack)
    )
    if not judged:
        return rule
    return replace(rule, judged=judged, shape=shape.model_copy(update={"instead_of": []}))


def _from_memory(sources: Iterable[str], pack: WrittenPack) -> bool:
    return any(pack.sources[name].kind == MEMORY for name in sources if name in pack.sources)
