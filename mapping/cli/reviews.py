"""Parts of what `layette check` reports: what a reviewer has still to sign, and what a site changes in the cases."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from layette.engine.answer.parts.plan import highest_priority
from layette.engine.api import Pack
from layette.engine.cases.cases import CaseReport
from layette.engine.pack.written.rule_shapes import RuleShape
from layette.engine.terms import PRIORITIES, VERBS
from layette.mapping.text.layout import Page, shown

KINDS = (
    ("from-memory", "from memory"),
    ("our-reading", "our reading"),
    ("common-practice", "common practice"),
    ("published", "published"),
)
"""How far sources were verified, the least first, with their words."""
UNSAID = "no priority"
_MANY = 20


def still_to_sign(page: Page, pack: Pack, report: CaseReport, today: str) -> None:
    """List the rules that nobody has compared with their sources, or not for too long; the worst first.

    ``today`` is a date as ``2026-01-31``: a review that held until an earlier day has lapsed.
    """
    rules = {name: pack.rules[name].shape for name in report.seen if name in pack.rules}
    lapsed = [name for name, shape in rules.items() if shape.reviewed and shape.reviewed.until < today]
    unsigned = [name for name, shape in rules.items() if shape.reviewed is None]
    if not lapsed and not unsigned:
        return
    page.heading(f"TO BE SIGNED BY A REVIEWER: {len(unsigned) + len(lapsed)} of {len(rules)} rules")
    if lapsed:
        told = ", ".join(shown([_review(name, rules[name]) for name in lapsed], _MANY, full=page.full))
        page.put(f"review lapsed ({len(lapsed)}): {told}")
    for (priority, kind), names in _worst_first({name: rules[name] for name in unsigned}, pack).items():
        first = f"  {priority}, {kind} ({len(names)}): "
        page.put(page.fitted(names, 3 if priority == PRIORITIES[0] else 1, first, "    "), first, "    ")


def _review(name: str, shape: RuleShape) -> str:
    review = shape.reviewed
    return f"{name} ({review.by}, {review.on} until {review.until})" if review else name


def _worst_first(rules: Mapping[str, RuleShape], pack: Pack) -> Mapping[tuple[str, str], list[str]]:
    """Return rules by how pressing they are and by the least verified of their sources, the worst first."""
    groups: dict[tuple[str, str], list[str]] = {
        (priority, words): [] for priority in (*PRIORITIES, UNSAID) for _, words in KINDS
    }
    for name, shape in rules.items():
        kinds = shape.rests_on(pack.sources)
        least = next(words for kind, words in KINDS if kind in kinds or kind == "published")
        groups[highest_priority(shape, _PRESSING) or UNSAID, least].append(name)
    return {group: names for group, names in groups.items() if names}


_PRESSING = tuple(verb for verb in VERBS if verb not in ("guide", "reassure", "avoid"))


def what_a_site_changes(page: Page, pack: Pack, own: CaseReport, at_site: CaseReport) -> None:
    """Report what a site's choices change in the cases that hold under the pack's own.

    Args:
        page: the page under way.
        pack: the pack with the site file.
        own: the outcome of the cases under the pack's own choices.
        at_site: their outcome with the site file.
    """
    known = set(own.failures)
    changed: dict[str, list[str]] = {}
    for case, difference in at_site.failures:
        if (case, difference) not in known:
            changed.setdefault(case, []).append(difference)
    name = pack.site.shape.site if pack.site.shape else ""
    run = own.passed + len({case for case, _ in own.failures})
    page.heading(f"AT THIS SITE ({name}): {len(changed)} of {run} cases answer otherwise")
    page.several([*_choices(pack)], _MANY)
    page.several([f"{case}: {'; '.join(_once(told, pack))}" for case, told in changed.items()], _MANY, "  ~ ")


def _choices(pack: Pack) -> Iterator[str]:
    """Yield what a site sets: choices other than the pack's, and what it changes in the rules."""
    for name, choice in pack.site.choices(pack.settings).items():
        if choice != pack.settings[name].default:
            yield f"setting {name}: {choice} in place of {pack.settings[name].default}"
    if pack.site.timezone:
        yield f"time zone {pack.site.timezone}"
    yield from pack.site.notices()


def _once(differences: Sequence[str], pack: Pack) -> Iterator[str]:
    """Yield each difference; where a rule is off at the site, that is said in the place of "nothing"."""
    for text in differences:
        off = next((rule for rule in pack.site.rules_off if f"expected {rule}" in text), None)
        yield text.replace("found nothing", "switched off") if off else text
