"""`layette rules`: which rules lead to this, ask of that, or rest on a source; a line each."""

from __future__ import annotations

import argparse
from collections.abc import Collection, Container, Iterator, Mapping

from layette.engine.api import Pack, load_pack
from layette.engine.errors import InputError, InputProblem, nearest
from layette.engine.pack.written.conditions import keys_in
from layette.engine.pack.written.rule_shapes import Consequence, RuleShape
from layette.engine.pack.written.shapes import listed
from layette.engine.pack.written.subjects import SEX
from layette.engine.pack.written.written import Written
from layette.mapping.text.reasons import LEGEND, MARKS
from layette.mapping.words.rules import rule_words
from layette.mapping.words.times import span, when

_SPAN = {"asap": "within 24 hours", "urgent": "within 7 days"}
"""By when a priority is meant where a rule gives no window."""
_WIDEST = 40


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "List rules of a pack, one a line: its id, what it leads to and by when. With several conditions, the rules "
        "that meet all of them."
    )
    verb.add_argument("word", metavar="WORD", nargs="?", help="a word of the id, the title, the reason or a target")
    verb.add_argument("--target", metavar="T", help="rules that lead to this target, by its name in targets/")
    verb.add_argument(
        "--finding",
        metavar="F",
        help="rules that hang on this finding, also through measures and conclusions",
    )
    verb.add_argument("--from-memory", action="store_true", help="rules that rest on memory, wholly or in part")
    verb.add_argument("--source", metavar="S", help="rules that cite this source, by its name in sources.yaml")
    verb.add_argument("--pack", metavar="DIR", help="the rule pack (default: the one that ships with Layette)")
    verb.add_argument("--site", metavar="FILE", help="the site file, with what it changes in the rules")
    verb.add_argument("--all", action="store_true", help="also the title, the condition in words, reason and sources")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """List the rules; returns 0. Raises `InputError` for a target, finding or source that the pack does not have."""
    pack = load_pack(arguments.pack, arguments.site)
    _check(pack, arguments)
    asked = _asked(pack) if arguments.finding is not None else {}
    found = [rule for rule in pack.rules.values() if all(_meets(rule.shape, pack, asked, arguments))]
    width = min(max((len(rule.shape.id) for rule in found), default=0), _WIDEST)
    for rule in found:
        print(f"{rule.shape.id:<{width}}  {_leads_to(rule.shape)}{_marks(rule.shape, pack)}")
        for line in _more(rule, pack) if arguments.all else ():
            print(f"    {line}")
    print(f"{len(found)} of {len(pack.rules)} rules. {LEGEND if found else ''}".rstrip())
    return 0


def _check(pack: Pack, arguments: argparse.Namespace) -> None:
    known: Mapping[str, tuple[str | None, Collection[str]]] = {
        "target": (arguments.target, pack.targets),
        "finding": (arguments.finding, _subjects(pack)),
        "source": (arguments.source, pack.sources),
    }
    problems = [
        InputProblem(f"--{what}", "setting", f"the pack has no such {what}; {nearest(name, names, _SEE[what])}", name)
        for what, (name, names) in known.items()
        if name is not None and name not in names
    ]
    if problems:
        raise InputError(problems)


_SEE = {
    "target": "the names stand in targets/",
    "finding": "`layette findings` lists the names",
    "source": "the names stand in sources.yaml",
}


def _subjects(pack: Pack) -> list[str]:
    return [*pack.findings, *pack.measures, *pack.subjects.conclusions, SEX]


def _meets(
    shape: RuleShape, pack: Pack, asked: Mapping[str, Container[str]], arguments: argparse.Namespace
) -> Iterator[bool]:
    """Yield, for each thing that is asked for, whether a rule meets it."""
    if arguments.word is not None:
        yield arguments.word.casefold() in _text(shape, pack).casefold()
    if arguments.target is not None:
        yield any(then.verb and then.target == arguments.target for then in shape.then)
    if arguments.finding is not None:
        yield arguments.finding in asked[shape.id]
    if arguments.from_memory:
        yield "from-memory" in shape.rests_on(pack.sources)
    if arguments.source is not None:
        yield arguments.source in shape.all_sources


def _text(shape: RuleShape, pack: Pack) -> str:
    targets = [pack.targets[then.target] for then in shape.then if then.verb]
    names = [part for target in targets for part in (target.label, target.performer or "")]
    return "\n".join((shape.id, shape.title, shape.because, *(then.target for then in shape.then), *names))


def _asked(pack: Pack) -> Mapping[str, Container[str]]:
    """Return all that each rule hangs on: also what would make it not needed, and what a `due` rule wants."""
    asked: dict[str, set[str]] = {}
    for instance, tested in zip(pack.instances, pack.plan.tested, strict=True):
        shape = instance.rule.shape
        unless = (key.split(".")[0] for key in keys_in(shape.unless))
        asked.setdefault(shape.id, set()).update(tested, unless, listed(shape.due))
    return asked


def _leads_to(shape: RuleShape) -> str:
    return "; ".join(_consequence(then, shape) for then in shape.then)


def _consequence(then: Consequence, shape: RuleShape) -> str:
    """Return one consequence: how pressing, what, by when."""
    if then.verb is None:
        return f"concludes {then.target}"
    if shape.due is not None and shape.window is not None:
        timing = span(shape.window)
    else:
        timing = when(then) or _SPAN.get(then.priority or "", "")
    words = (then.priority, then.verb, then.target, timing if then.verb != "judge" else "before they leave")
    return " ".join(word for word in words if word)


def _marks(shape: RuleShape, pack: Pack) -> str:
    kinds = shape.rests_on(pack.sources)
    letters = [mark for kind, mark in MARKS.items() if kind in kinds]
    return f" ({', '.join(letters)})" if letters else ""


def _more(rule: Written, pack: Pack) -> Iterator[str]:
    shape = rule.shape
    yield f"{shape.title} [{rule.place}]"
    words = rule_words(pack, shape)
    if words:
        yield words
    yield " ".join(shape.because.split())
    yield "Sources: " + ", ".join(f"{name} ({pack.sources[name].kind})" for name in shape.all_sources)
