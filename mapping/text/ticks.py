"""What to examine: a tick list in the order of the examination, what could be an emergency first within a step."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.shapes.detail import Question, Step
from layette.engine.terms import PRIORITIES
from layette.mapping.text.about import About
from layette.mapping.text.labels import look, still_open
from layette.mapping.text.layout import Page, cut, tidy

MOST = 25
"""Lines of the tick list, its heading among them, unless the page is full."""
OTHERS = "Also open (--all)"
_COLUMN = 20
_NAME = 17
_CLAUSE = 58
_GAP = "   "
_FEW = 4
_LEADING = ("and", "of", "the")


@dataclass(frozen=True)
class Tick:
    """One thing to look at; ``pressing``: it could be an emergency."""

    text: str
    pressing: bool

    def __str__(self) -> str:
        """Return the tick as it is printed."""
        return f"[ ]{'!' if self.pressing else ''} {self.text}"


class StepName(Tick):
    """A step of which nothing but the name is said."""

    def __str__(self) -> str:
        """Return the name, marked where the step could hide an emergency."""
        return f"{self.text} !" if self.pressing else self.text


@dataclass(frozen=True)
class Row:
    """A step of the examination with what is open in it, in lines of ``width`` columns.

    ``rank`` is the place of the worst that it can bring; ``whole``: nothing of it was looked at.
    """

    name: str
    ticks: tuple[Tick, ...]
    width: int
    rank: int = 0
    whole: bool = False

    @property
    def emergencies(self) -> int:
        """How many of its ticks could be an emergency; they come first."""
        return sum(tick.pressing for tick in self.ticks)

    @cached_property
    def first(self) -> str:
        """What stands before its first line; before the others there is as much room."""
        column = min(_COLUMN, self.width // 3)
        return f"  {in_short(self.name, column):<{column}}  "

    @cached_property
    def lengths(self) -> list[int]:
        """For each number of ticks, from one on, how many lines they take, with the count of those left out."""
        start = used = len(self.first)
        lengths, lines = [], 1
        for number, tick in enumerate(self.ticks, 1):
            cell = min(len(str(tick)), self.width - start)
            if number > 1 and used + len(_GAP) + cell > self.width:
                lines, used = lines + 1, start + cell
            else:
                used += cell + (len(_GAP) if number > 1 else 0)
            left = self.left(number)
            lengths.append(lines + bool(left and number > 1 and used + len(_GAP + left) > self.width))
        return lengths

    def kept(self, most: int) -> int:
        """Return how many ticks fit in ``most`` lines, at least one."""
        return max((number for number, lines in enumerate(self.lengths, 1) if lines <= most), default=1)

    def needed(self, ticks: int) -> int:
        """Return how many lines it takes to show so many ticks, or more of them."""
        return min(self.lengths[max(ticks, 1) - 1 :])

    def left(self, kept: int) -> str:
        """Return how many ticks are left out, emergencies by themselves."""
        ticks = self.ticks[kept:]
        emergencies = sum(tick.pressing for tick in ticks)
        return (f"+{len(ticks)}" + (f" ({emergencies} !)" if emergencies else "")) if ticks else ""

    def printed(self, most: int) -> list[str]:
        """Return it in at most ``most`` lines, the ticks side by side and none broken."""
        kept, lines = self.kept(most), [self.first]
        left = self.left(kept)
        room = self.width - len(self.first)
        cells = [cut(str(tick), room - (len(_GAP + left) if left and kept == 1 else 0)) for tick in self.ticks[:kept]]
        for number, cell in enumerate([*cells, left] if left else cells):
            gap = _GAP if number else ""
            if number and len(lines[-1]) + len(gap) + len(cell) > self.width:
                lines.append(" " * len(self.first))
                gap = ""
            lines[-1] += gap + cell
        return lines


def write(page: Page, assessment: Assessment, about: About, place: int, room: int) -> None:
    """Write the steps that are not done, in the order of the examination, at line ``place`` of the page.

    ``room``: how many lines there are, of at most `MOST`; a step that could hide an emergency has one whatever it is.
    """
    if page.full:
        _all(page, assessment, about, place)
        return
    rows: Sequence[Row] = list(_rows(assessment, about, page.width))
    if not rows:
        return
    below, page.lines = page.lines[place:], page.lines[:place]
    page.heading("TO EXAMINE (! could be an emergency; +n: n more, --all)")
    room = min(room, MOST) - 2
    rows = _fitting(rows, page.width, room)
    for row, most in zip(rows, _allotted(rows, room), strict=True):
        page.lines += row.printed(most)
    page.lines += below


def unread(assessment: Assessment, about: About) -> list[str]:
    """Return the records that nobody has read, or hardly, each with how much of it is open, emergencies by themselves.

    A few open questions of a record stay on the list by name: they are details of something that is known.
    """
    names = []
    for step, looks in _looks(assessment, about):
        if _is_unread(step, looks, about):
            emergencies = sum(bool(one.emergencies) for one in looks)
            count = f"{len(looks)}, {emergencies} !" if emergencies else str(len(looks))
            names.append(f"{about.step_name(step)} ({count})")
    return names


def _is_unread(step: Step, looks: Sequence[Question], about: About) -> bool:
    return step.area in about.records and sum(one.state == "not examined" for one in looks) > _FEW


def _looks(assessment: Assessment, about: About) -> Iterator[tuple[Step, list[Question]]]:
    """Yield the steps in order, with what is open: no result that nobody waits for, nothing that can wait."""
    can_wait, ordered = _can_wait(assessment), _ordered(assessment)
    for step in about.in_order(assessment.steps):
        looks = [
            question
            for question in step.questions
            if id(question) not in can_wait and (_name(question) not in about.awaited or _is_ordered(question, ordered))
        ]
        if looks:
            yield step, looks


def _rows(assessment: Assessment, about: About, width: int) -> Iterator[Row]:
    for step, open_ in _looks(assessment, about):
        unread = _is_unread(step, open_, about)
        looks = [one for one in open_ if one.state != "not examined"] if unread else open_
        if looks:
            rank, whole = PRIORITIES.index(step.worst), about.is_untouched(step) and not unread
            yield Row(about.step_name(step), _ticks(step, looks, whole=whole), width, rank, whole)


def _fitting(rows: Sequence[Row], width: int, room: int) -> Sequence[Row]:
    """Return the rows for so many lines: where they are too many, some stand by name alone in one row at the end.

    First go those that could hide no emergency, the least pressing before the others; then those not begun; at last, on
    a page that is full of what to do, those with the fewest emergencies: the row at the end marks them.
    """
    calm = sorted((row for row in rows if not row.emergencies), key=lambda row: -row.rank)
    can_go = [*calm, *(row for row in rows if row.emergencies and row.whole)]
    begun = sorted((row for row in rows if row.emergencies and not row.whole), key=lambda row: row.emergencies)
    fitting = rows
    for number in range(len(can_go) + 1):
        fitting = _without(can_go[:number], rows, width)
        if sum(map(_needed, fitting)) <= room:
            return fitting
    shorter = (_without([*can_go, *begun[:number]], rows, width) for number in range(len(begun) + 1))
    return next((some for some in shorter if sum(map(_least, some)) <= room), fitting)


def _without(gone: Sequence[Row], rows: Sequence[Row], width: int) -> list[Row]:
    """Return the rows without those that are gone, and a row at the end that names these."""
    left = {id(row) for row in gone}
    names = tuple(StepName(in_short(row.name, _NAME), row.emergencies > 0) for row in rows if id(row) in left)
    return [*(row for row in rows if id(row) not in left), *([Row(OTHERS, names, width)] if gone else [])]


def _least(row: Row) -> int:
    """Return the lines without which a row is not said at all."""
    return _needed(row) if row.name == OTHERS else 1


def _needed(row: Row) -> int:
    """Return how many lines a row needs to show all that could be an emergency, and every name of the last one."""
    return row.needed(len(row.ticks) if row.name == OTHERS else row.emergencies)


def _can_wait(assessment: Assessment) -> set[int]:
    """Return the questions that can wait: none settles a rule alone, and each rule has another that does.

    Whether a risk factor is there matters only once the bilirubin is known; the bilirubin is asked for first. What
    could be an emergency never waits.
    """
    questions = [one for step in assessment.steps for one in step.questions]
    settled = {rule for one in questions for rule in one.settles}
    return {
        id(one) for one in questions
        if one.state == "not examined" and not (one.settles or one.emergencies) and settled.issuperset(one.rules)
    }  # fmt: skip


def _ordered(assessment: Assessment) -> set[str]:
    placed = [one.target for one in (*assessment.standing, *assessment.to_chase) if one.placed]
    return {*placed, *(due.finding for due in assessment.due if due.target in placed)}


def _is_ordered(question: Question, ordered: Collection[str]) -> bool:
    """Whether somebody waits for a result: its specimen is on record, or an order for it."""
    return question.state != "not examined" or _name(question) in ordered


def _name(question: Question) -> str:
    return question.finding.split(".")[0]


def _ticks(step: Step, looks: Sequence[Question], *, whole: bool) -> tuple[Tick, ...]:
    if whole:
        return (Tick(f"all of it: {_begin(step.label)}", any(one.emergencies for one in looks)),)
    both: dict[tuple[str, str], list[Question]] = {}
    for one in looks:
        both.setdefault((one.finding, still_open(one)), []).append(one)
    ticks = [Tick(look(sides), any(one.emergencies for one in sides)) for sides in both.values()]
    return tuple(sorted(ticks, key=lambda tick: not tick.pressing))


def _begin(label: str) -> str:
    """Return a step in short: its first clauses, as many as fit behind its name."""
    text = label[:1].lower() + label[1:]
    while len(text) > _CLAUSE and (end := max(text.rfind(joint) for joint in (", ", "; ", " and "))) > 0:
        text = text[:end]
    return text


def _allotted(rows: Sequence[Row], room: int) -> list[int]:
    """Return how many lines each row may have: one, and more for those that leave emergencies out, then the longest.

    The row of names has all that it needs, so that no step goes unsaid.
    """
    allotted = [_least(row) for row in rows]
    while sum(allotted) < room:
        left = [row.ticks[row.kept(most) :] for row, most in zip(rows, allotted, strict=True)]
        wants = [(sum(tick.pressing for tick in ticks), len(ticks), -place) for place, ticks in enumerate(left)]
        _, number, place = max(wants)
        if not number:
            break
        allotted[-place] += 1
    return allotted


def in_short(name: str, width: int) -> str:
    """Return as many words of a name as fit, none that leads on to the next."""
    words = tidy(name).split()
    while (len(" ".join(words)) > width and len(words) > 1) or (words[-1:] and words[-1] in _LEADING):
        words.pop()
    return cut(" ".join(words).rstrip(","), width)


def _all(page: Page, assessment: Assessment, about: About, place: int) -> None:
    if not assessment.steps:
        return
    below, page.lines = page.lines[place:], page.lines[:place]
    page.heading("TO EXAMINE, AND RESULTS (! could be an emergency)")
    for step in about.in_order(assessment.steps):
        page.put(f"{about.step_name(step)}: {step.label}")
        for one in sorted(step.questions, key=lambda one: not one.emergencies):
            mark = "!" if one.emergencies else ""
            page.put(f"{tidy(one.label)}{still_open(one)}; worst {one.worst}", f"   [ ]{mark} ")
    page.lines += below
