"""One input in, one answer out: whoever calls gets all that was refused, and cannot go on without it.

The command, a service and a script call the same function. It prints nothing, and what goes in and comes out can be
sent from one process to another.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from layette.engine.answer.emergencies import emergencies
from layette.engine.answer.parts.assessment import Assessment
from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem, LayetteError
from layette.engine.visit.carried import PART
from layette.mapping.account import Account
from layette.mapping.codes import OWN_BASE
from layette.mapping.intake import CallerSays, Fhir, Intake, take
from layette.mapping.text import render
from layette.mapping.undated import urgent_at_any_age

if TYPE_CHECKING:
    from layette.mapping.write.run.context import Parts


_DATES = frozenset(("at", "born"))


@dataclass(frozen=True)
class Answer:
    """The answer for one input.

    ``assessment`` holds the notices of reading beside those of the engine. ``account`` says what became of every entry
    of the input. ``visit`` is the flat visit that was assessed; ``source`` the FHIR that it came from, None where it
    came in another form; ``base`` the canonical base of our own code systems.
    """

    assessment: Assessment
    account: Account
    visit: Mapping[str, Any] = field(repr=False)
    source: Fhir | None = field(repr=False)
    base: str

    def to_fhir(self, pack: Pack, *, parts: Parts = "care", language: str = "en") -> dict[str, Any]:
        """Return the answer as a transaction Bundle. Raises `OutputError` rather than give what is not valid R4; it
        carries the emergencies of the answer.

        ``parts``: `care`, `inbox` or `all`; ``language`` is that of the words for the family; see `write.to_bundle`.
        """
        # Whoever wants text or JSON pays for neither the writers nor the validator.
        from layette.mapping.door import OutputError, checked_output
        from layette.mapping.write import to_bundle

        try:
            made = to_bundle(
                self.assessment, pack, source=self.source, base=self.base, visit=self.visit, parts=parts,
                language=language,
            )  # fmt: skip
            return checked_output(made)
        except OutputError as error:
            error.urgent = emergencies(self.assessment)
            raise

    def to_retire(self, bundle: Mapping[str, Any]) -> dict[str, Any]:
        """Return the batch that takes back the drafts of ours which ``bundle`` (of `to_fhir`) supersedes.

        It is posted after the Bundle, and has no entry where there is nothing to take back; see `write.retirement`.
        """
        from layette.mapping.door import checked_output
        from layette.mapping.write import retirement

        return checked_output(retirement(bundle, self.source, self.base.rstrip("/")))

    def to_text(
        self, pack: Pack, *, width: int = 100, colour: bool = False, full: bool = False, language: str = "en"
    ) -> str:
        """Return the answer as a page for a clinician, with the account at its end; see `mapping.text.render`.

        ``language`` is that of what the family is told.
        """
        return render(
            self.assessment, width=width, colour=colour, full=full, pack=pack, visit=self.visit,
            counts=str(self.account), language=language,
        )  # fmt: skip


def answer(
    content: bytes | Mapping[str, Any] | list[Any],
    pack: Pack,
    *,
    at: str | None = None,
    subject: str | None = None,
    encounter: str | None = None,
    base: str | None = None,
    readers: Iterable[str] | None = None,
) -> Answer:
    """Return the answer for one visit.

    ``content`` is FHIR R4 (JSON or XML), an HL7 v2 message or a flat visit (JSON or YAML) as bytes; or what was parsed
    already: a resource, a Bundle, a list of these, or a flat visit, with decimals as `layette.mapping.fhir_json.loads`
    gives them. The caller may name the moment (``at``, ISO 8601 with offset), the newborn (``subject``) and the
    ``encounter``, each instead of what the input says; the ``base`` of our own code systems, else it is the site's; and
    the ``readers`` of the rules.

    Raises `InputError` with all that is wrong at once, found by reading, by the check of FHIR or by the engine;
    `ReadersDisagree`; `ReaderFailed`; each with the emergencies that are decided all the same in ``urgent``. ValueError
    for a reader that cannot run here. An error about an input that could be read carries its account as a note
    (``__notes__``).
    """
    base = base or pack.site.canonical or OWN_BASE
    intake = take(content, pack, base, CallerSays(at, subject, encounter))
    try:
        assessment = _assessed(intake, pack, at, readers)
    except LayetteError as error:
        error.add_note(str(intake.account(error.problems if isinstance(error, InputError) else ())))
        raise
    return Answer(_with_notices(assessment, intake.notices), intake.account(), intake.visit, intake.source, base)


def _assessed(intake: Intake, pack: Pack, at: str | None, readers: Iterable[str] | None) -> Assessment:
    if intake.problems:
        more, urgent = _rest(intake, pack, at)
        raise InputError((*intake.problems, *more), urgent)
    return pack.assess(intake.visit, at=at, readers=readers)


def _rest(intake: Intake, pack: Pack, at: str | None) -> tuple[tuple[InputProblem, ...], tuple[str, ...]]:
    """Return what else is wrong, and the emergencies that the usable rest decides: a mistake must hide none.

    That the moment or the birth is missing has been said by reading, with its place in the input.
    """
    rest = {part: content for part, content in intake.visit.items() if part != PART}
    try:
        assessment = pack.assess(rest, at=at)
    except InputError as error:
        known = {problem.path for problem in intake.problems} | ({"at", "born"} - rest.keys())
        undated = intake.result is not None and any(problem.path in _DATES for problem in error.problems)
        urgent = error.urgent or (urgent_at_any_age(rest, pack) if undated else ())
        return tuple(problem for problem in error.problems if problem.path not in known), urgent
    except LayetteError as error:
        return (), (str(error), *error.urgent)
    return (), emergencies(assessment)


def _with_notices(assessment: Assessment, notices: Iterable[str]) -> Assessment:
    """Return the assessment with the notices of reading, so that no form of the answer is without them."""
    more = tuple(notice for notice in notices if notice not in assessment.notices)
    return assessment.model_copy(update={"notices": (*assessment.notices, *more)}) if more else assessment
