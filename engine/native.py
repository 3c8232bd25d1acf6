"""The first reader: one generated Python function for the whole program.

Most rules are ruled out on most visits, so a rule costs one short-circuited expression (`may`) and
only a rule that could still fire is asked whether it must. Such rules alone are written down; conclusions
live in local variables between the rules that conclude and those that use them.

The generated text holds integers and names made of integers only: nothing that an author wrote in a
pack reaches `compile`. It is kept in `NativeReader.source` for whoever wants to look.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from .conditions import AllOf, Among, AnyOf, Node, Not, State, Status, variables
from .program import NO, YES, CompiledRule, Program, Reading

Generated = Callable[..., tuple[State, ...]]
"""From states, a list of statuses to fill in, and what collects rules that stand, to the filled-in states."""


class NativeReader:
    """A program as one compiled function; immutable, so threads may share it."""

    name = "native"

    def __init__(self, program: Program) -> None:
        """Generate and compile the function for ``program``."""
        self.program = program
        self.source = "\n".join(_lines(program)) + "\n"
        names: dict[str, object] = {}
        exec(compile(self.source, "<layette rules>", "exec"), names)
        self._read: Generated = names["read"]  # type: ignore[assignment]
        self._all_ruled_out = [Status.RULED_OUT] * len(program.rules)

    def read(self, states: Sequence[State]) -> Reading:
        """Return the status of each rule; see `Reader`."""
        statuses, standing = self._all_ruled_out.copy(), []  # type: list[Status], list[int]
        now = self._read(states, statuses, standing.append, Status.FIRED, Status.PROVISIONAL, Status.UNDECIDED)
        return Reading(tuple(statuses), now, tuple(standing))


def flag_of(nodes: Sequence[Node], full: Sequence[State]) -> Callable[[Sequence[State]], int]:
    """Return a function from states to 1 where some node must hold, -1 where one may, else 0."""
    own = AnyOf(tuple(nodes))
    lines = ["def flag(states):"]
    lines += [f"    s{var} = states[{var}]" for var in dict.fromkeys(variables(own))]
    lines += [f"    return 1 if {must(own, full)} else (-1 if {may(own, full)} else 0)"]
    names: dict[str, object] = {}
    exec(compile("\n".join(lines) + "\n", "<layette conclusion>", "exec"), names)
    flag: Callable[[Sequence[State]], int] = names["flag"]  # type: ignore[assignment]
    return flag


def _lines(program: Program) -> Iterator[str]:
    full = [variable.full for variable in program.variables]
    names = "".join(f"s{k}, " for k in range(len(full)))
    yield "def read(states, statuses, stands, F, P, U):"
    if names:
        yield f"    {names}= states"
    for var in program.conclusions:
        yield f"    s{var} = {NO}"
    for k, rule in enumerate(program.rules):
        yield from ("    " + line for line in _rule(k, rule, full))
    yield f"    return ({names})"


def _rule(k: int, rule: CompiledRule, full: Sequence[State]) -> Iterator[str]:
    # Not merged into one normal form: that could be sharper than the specification.
    own = AllOf((rule.applies, rule.when))
    yield f"if {may(own, full)}:"
    yield f"    if {must(own, full)}:"
    yield from ("        " + line for line in _verdict(k, rule, full, ("F", "P"), f"; stands({k})"))
    yield from (f"        s{var} = {YES}" for var in rule.concludes)
    yield "    else:"
    yield from ("        " + line for line in _verdict(k, rule, full, ("U", "U")))
    # Of several rules that conclude one thing, the surest answer stays: yes over perhaps over no.
    yield from (f"        if s{var} != {YES}: s{var} = {YES | NO}" for var in rule.concludes)


def _verdict(
    k: int, rule: CompiledRule, full: Sequence[State], names: tuple[str, str], more: str = ""
) -> Iterator[str]:
    """Give the rule its first status, or the second while a replacement is open, or leave it ruled out."""
    sure, replaceable = names
    if not rule.replacements:
        yield f"statuses[{k}] = {sure}{more}"
        return
    replaced = AnyOf(rule.replacements)
    yield f"if not {may(replaced, full)}: statuses[{k}] = {sure}{more}"
    yield f"elif not {must(replaced, full)}: statuses[{k}] = {replaceable}{more}"


def may(node: Node, full: Sequence[State]) -> str:
    """Return a Python expression that is true where ``node`` could hold."""
    match node:
        case Among(var, mask):
            return _overlap(var, mask, full[var])
        case Not(part):
            return _not(must(part, full))
        case AllOf(parts):
            return _joined("and", (may(part, full) for part in parts))
        case AnyOf(parts):
            return _joined("or", (may(part, full) for part in parts))


def must(node: Node, full: Sequence[State]) -> str:
    """Return a Python expression that is true where ``node`` holds whatever the unknown turn out to be."""
    match node:
        case Among(var, mask):
            return _not(_overlap(var, full[var] & ~mask, full[var]))
        case Not(part):
            return _not(may(part, full))
        case AllOf(parts):
            return _joined("and", (must(part, full) for part in parts))
        case AnyOf(parts):
            return _joined("or", (must(part, full) for part in parts))


def _overlap(var: int, mask: State, full: State) -> str:
    """Whether the state has an atom in ``mask``: known at once where the mask is empty or full."""
    if mask & full == 0:
        return "False"
    return "True" if mask & full == full else f"s{var} & {mask & full}"


def _not(text: str) -> str:
    return {"True": "False", "False": "True"}.get(text, f"(not ({text}))")


def _joined(word: str, texts: Iterator[str]) -> str:
    """Join with `and` or `or`, without the constants that change nothing; simple tests stand first."""
    neutral, settling = ("True", "False") if word == "and" else ("False", "True")
    kept = sorted(dict.fromkeys(text for text in texts if text != neutral), key=len)
    if settling in kept:
        return settling
    return f"({f' {word} '.join(kept)})" if len(kept) > 1 else "".join(kept) or neutral
