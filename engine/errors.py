"""The errors that a caller can meet.

LayetteError
├── PackError        a rule pack (or site file) cannot be used; carries every problem found in it
├── InputError       a visit cannot be used; carries every problem found in it
├── ReadersDisagree  two readers of the rules gave different answers for one visit; carries both
└── ReaderFailed     a reader of the rules broke down over one visit; says which and where

Each carries in `urgent` the emergencies that are decided in spite of it, so that no error hides one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

_Parts = tuple[type[Exception], tuple[Any, ...], dict[str, Any]]
"""What `pickle` is told of an error: its class, what it is made of, and notes that were added to it."""

PACK_CODES: Mapping[str, str] = {
    "yaml": "The file is not YAML, or not a mapping where one is due.",
    "duplicate-key": "A key is written twice in one mapping; the second would silently win.",
    "shape": "A key is missing, unknown, or of the wrong kind.",
    "file-missing": "pack.yaml lists a file that is not there.",
    "file-unlisted": "A file lies in the pack that pack.yaml does not list.",
    "duplicate-id": "Two things of one kind carry the same id.",
    "id-file": "A rule's id does not begin with the name of its file.",
    "unknown-finding": "A test, measure or case names what is no finding or measure, and what no rule concludes.",
    "unknown-view": "A view that does not exist, or that this finding does not have.",
    "side-missing": "A sided finding is tested without saying which side.",
    "unknown-unit": "A unit that this finding does not accept.",
    "unknown-value": "A value that is not among the values of the finding or setting.",
    "unknown-source": "A source that sources.yaml does not hold.",
    "unknown-target": "A target that targets/ does not hold, or of another kind than the verb wants.",
    "unknown-setting": "A setting or a choice that settings.yaml does not hold.",
    "unknown-language": "Words in a language that pack.yaml does not declare, or none in its first one.",
    "unknown-placeholder": "Braces in a text for families that hold what is no setting with words.",
    "unknown-priority": "A priority outside stat, asap, urgent, routine.",
    "unknown-rule": "instead_of names a rule that does not exist.",
    "unknown-function": "A measure names a function that the engine does not have, or an input that it does not take.",
    "cycle": "Conclusions, measures or replacements depend on one another in a ring.",
    "table-gap": "The rows of a table leave a value uncovered.",
    "table-overlap": "Two rows of a table cover the same value.",
    "table-value": "A cell of a table is not what its header says.",
    "condition-empty": "A condition without a test.",
    "condition-constant": "A condition that is always true, or never, whatever is found.",
    "fires-unexamined": "A rule that would fire because nothing applies or nobody looked.",
    "hidden-emergency": "A finding that comes up late, and alone can bring stat.",
    "replacement": "An instead_of that resolution would settle anyway, that stands on a conclusion, "
    "or that leaves out what its target replaces.",
    "second-reader": "A rule outside what the second reader can hold; split it by a conclusion.",
    "threshold-set": "A set of treatment lines fails a safety check.",
    "window": "A window that ends before it begins, or whose anchor is unknown.",
    "priority-window": "A deadline that contradicts its priority: no moment is both.",
    "site": "The site file changes something that it may not, or does not say who, when and why.",
}
"""Every code that a problem of a pack can carry, with what it means."""

INPUT_CODES: Mapping[str, str] = {
    "not-json": "The bytes are not JSON (or YAML, for a flat visit).",
    "structure": "The input is not of the shape that is read: not a Bundle, not a visit, an element of the wrong kind.",
    "invalid-fhir": "A resource is not valid FHIR R4 (`layette validate` says more of it).",
    "patient": "No newborn, or more than one, in the input.",
    "birth": "The time of birth is missing or not usable.",
    "time": "A time that is missing its offset, lies before birth, or lies after the visit.",
    "age": "The newborn is older than the pack covers.",
    "unit": "A number without a unit, or with a unit that the finding does not accept.",
    "implausible": "A number outside what is physically possible for the finding.",
    "value": "A value that is not one of the finding's values.",
    "side": "A side that the finding does not have.",
    "contradiction": "A resource that says two different things.",
    "unknown-finding": "A flat visit names a finding that the pack does not define.",
    "setting": "A setting or choice that the pack does not define.",
    "too-large": "The input is larger than the limit.",
}
"""Every code that a problem of an input can carry, with what it means."""


def nearest(name: str, known: Iterable[str], otherwise: str = "") -> str:
    """Return "did you mean 'x'?" with the few known names that are closest; ``otherwise`` where none is near."""
    near = get_close_matches(name, list(known), n=2, cutoff=0.6)
    return f"did you mean {' or '.join(map(repr, near))}?" if near else otherwise


def near(name: str, known: Iterable[str]) -> str:
    """Return "; did you mean 'x'?" as the end of a message; nothing where no known name is near."""
    told = nearest(name, known)
    return f"; {told}" if told else ""


TOLD = 100
"""The most problems that a message lists; an error carries them all."""


def told(problems: Sequence[object]) -> list[str]:
    """Return the first problems as lines of text, and how many more there are."""
    lines = [str(problem) for problem in problems[:TOLD]]
    left = len(problems) - len(lines)
    return [*lines, f"and {left} more"] if left else lines


class LayetteError(Exception):
    """What all errors of this package have in common; each may be sent to another process and raised there.

    ``urgent`` holds what is decided as `stat` in spite of the error, a line of text each: by the usable rest of an
    input, by either of two readers, or by the answer that could not be written.
    """

    urgent: tuple[str, ...] = ()
    decided = "decided all the same"


@dataclass(frozen=True, slots=True, order=True)
class PackProblem:
    """One mistake in a pack: where it stands, what is wrong, what would be right."""

    file: str
    line: int
    key: str
    code: str
    message: str

    def __str__(self) -> str:
        """Return ``message @ file:line key [code]``."""
        return f"{self.message} @ {self.file}:{self.line} {self.key} [{self.code}]"


@dataclass(frozen=True, slots=True, order=True)
class InputProblem:
    """One mistake in an input: the path of the field, its value, what would be right."""

    path: str
    code: str
    message: str
    value: str = ""
    expected: str = ""

    def __str__(self) -> str:
        """Return one sentence with the path, the value and what would be right."""
        text = f"{self.path}: {self.message}"
        if self.value:
            text += f" (found {self.value})"
        if self.expected:
            text += f"; expected {self.expected}"
        return f"{text} [{self.code}]"


class PackError(LayetteError):
    """A rule pack cannot be used. ``problems`` holds all that was found, in file order."""

    def __init__(self, problems: Iterable[PackProblem]) -> None:
        """Keep the problems, without repeats, sorted by file and line."""
        self.problems = tuple(sorted(set(problems)))
        super().__init__("\n".join(told(self.problems)))

    def __reduce__(self) -> _Parts:
        """Be made anew from the problems; an exception is otherwise made anew from its text."""
        return type(self), (self.problems,), vars(self)


class InputError(LayetteError):
    """A visit cannot be used. ``problems`` holds all that was found, sorted by path."""

    decided = "decided by the rest of the input"

    def __init__(self, problems: Iterable[InputProblem], urgent: Iterable[str] = ()) -> None:
        """Keep the problems, without repeats, sorted by path."""
        self.problems = tuple(sorted(set(problems)))
        self.urgent = tuple(urgent)
        super().__init__("\n".join(told(self.problems)))

    def __reduce__(self) -> _Parts:
        """Be made anew from the problems and the emergencies."""
        return type(self), (self.problems, self.urgent), vars(self)


class ReadersDisagree(LayetteError):  # noqa: N818 - the design's name for it
    """Two readers of the same rules answered differently; no recommendation is made.

    ``answers`` maps each reader to the rules it fired; ``highest`` is the highest priority that
    either answer would have brought, so that a fault hides no emergency.
    """

    decided = "found by at least one reader"

    def __init__(
        self, answers: Mapping[str, Mapping[str, str]], highest: str | None, urgent: Iterable[str] = ()
    ) -> None:
        """Keep both answers: reader name -> rule id -> status, for the rules that differ."""
        self.answers = {name: dict(rules) for name, rules in answers.items()}
        self.highest = highest
        self.urgent = tuple(urgent)
        lines = [
            f"{name}: " + ", ".join(f"{r} {s}" for r, s in sorted(rules.items())) for name, rules in answers.items()
        ]
        top = f"; the highest priority of either is {highest}" if highest else ""
        super().__init__("two readers of the rules disagree, so nothing is proposed" + top + "\n" + "\n".join(lines))

    def __reduce__(self) -> _Parts:
        """Be made anew from both answers."""
        return type(self), (self.answers, self.highest, self.urgent), vars(self)


class ReaderFailed(LayetteError):  # noqa: N818 - beside ReadersDisagree
    """A reader of the rules broke down over a visit; no recommendation is made.

    ``reader`` is its name, ``fault`` the kind of the exception. Its message is left out: it may hold data of the visit.
    """

    decided = "found by at least one reader"

    def __init__(self, reader: str, fault: str, urgent: Iterable[str] = ()) -> None:
        """Keep who failed, and how."""
        self.reader = reader
        self.fault = fault
        self.urgent = tuple(urgent)
        super().__init__(f"the reader '{reader}' of the rules broke down ({fault}), so nothing is proposed")

    def __reduce__(self) -> _Parts:
        """Be made anew from who failed."""
        return type(self), (self.reader, self.fault, self.urgent), vars(self)
