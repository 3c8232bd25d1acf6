"""`layette check`: is a rule pack sound, do its cases hold, and what do they never show?"""

from __future__ import annotations

import argparse
from datetime import date

from layette.engine.api import Pack, load_pack
from layette.engine.cases.cases import CaseReport
from layette.engine.errors import PackError
from layette.engine.pack.family_texts import family_texts
from layette.mapping.cli.reviews import still_to_sign, what_a_site_changes
from layette.mapping.cores import cores
from layette.mapping.settle import settle
from layette.mapping.text.about import changed_from_shipped
from layette.mapping.text.layout import Page, shown

STATUSES = ("fired", "ruled out", "undecided")
"""What the cases should show of every rule."""

MARKED = (("from-memory", "FROM MEMORY"), ("our-reading", "OUR READING"))
"""The kinds of source that were not read in print, with their headings."""

_WIDTH = 100
_MANY = 20


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "Load a rule pack and list every problem in it; if there is none, run its cases and report which "
        "rules were seen fired, ruled out and undecided, which rest on memory, and which a reviewer has still to sign."
    )
    default = "the pack's folder (default: the one that ships with Layette)"
    verb.add_argument("pack", metavar="PACK", nargs="?", help=default)
    verb.add_argument(
        "--site", metavar="FILE", help="a site file: checked together with the pack, and what it changes in the cases"
    )
    verb.add_argument(
        "--only",
        metavar="AREA",
        help="run and report one area only, named as a file of rules or cases or as an area of the findings: "
        "its rules, and the cases that are in its file or name one of them",
    )
    verb.add_argument("--all", action="store_true", help="show every list to its end")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Check a pack; returns 0, or 2 where a case fails or a rule lacks one.

    The cases are those of the pack's own choices; what a site changes in them is told, and is no failure.
    Raises `PackError` with every problem of the pack, `InputError` for an area that it does not have.
    """
    pack = load_pack(arguments.pack)
    at_site = None if arguments.site is None else load_pack(arguments.pack, arguments.site)
    settle()
    report = pack.run_cases(arguments.only, processes=cores())
    if report.problems:
        raise PackError(report.problems)
    page = Page(_WIDTH, colour=False, full=arguments.all)
    _cases(page, pack, report)
    _coverage(page, pack, report)
    _marked(page, pack, report)
    _words(page, pack)
    still_to_sign(page, pack, report, date.today().isoformat())
    if at_site is not None:
        there = at_site.run_cases(arguments.only, ["native"], cores(), seen=False)
        what_a_site_changes(page, at_site, report, there)
    print(page.text(), end="")
    return 2 if report.failures or report.unseen else 0


def _cases(page: Page, pack: Pack, report: CaseReport) -> None:
    page.heading(f"{pack.id} {pack.version}: {len(pack.rules)} rules, {len(pack.findings)} findings, no problems")
    page.put(f"digest {pack.digest}", "")
    if changed_from_shipped(pack):
        page.put(
            f"This is not {pack.id} {pack.version} as it ships, and goes by its id and version: give it an id or a "
            "version of its own in pack.yaml, so that nobody takes its answers for those of the shipped pack.",
            "! ",
        )
    failed: dict[str, list[str]] = {}
    for case, difference in report.failures:
        failed.setdefault(case, []).append(difference)
    run_in_all = report.passed + len(failed)
    page.heading(f"CASES{_of_area(report)}: {run_in_all} run, {report.passed} passed, {len(failed)} failed")
    for case, differences in failed.items():
        page.put(f"{case}: {'; '.join(differences)}", "  - ")


def _of_area(report: CaseReport) -> str:
    return "" if report.only is None else f" ({report.only})"


def _coverage(page: Page, pack: Pack, report: CaseReport) -> None:
    """Report what the cases show of each rule, and never hide a rule that they do not show."""
    page.heading(f"RULES{_of_area(report)} AS THE CASES SHOW THEM")
    unseen, number = report.unseen, len(report.seen)
    if report.only is not None:
        page.put(f"of the area '{report.only}' only: {number} of {len(pack.rules)} rules, as all cases show them")
    for status in STATUSES:
        missing = [rule for rule, lacking in unseen.items() if status in lacking]
        page.put(f"{status}: {number - len(missing)} of {number}")
        if missing:
            page.put("never: " + ", ".join(shown(missing, _MANY, full=page.full)), "    ")


def _marked(page: Page, pack: Pack, report: CaseReport) -> None:
    """List the rules with a source that was not verified in print; those from memory always whole, for review."""
    looked_at = {name: rule for name, rule in pack.rules.items() if name in report.seen}
    for kind, heading in MARKED:
        rules = [name for name, rule in looked_at.items() if kind in rule.shape.rests_on(pack.sources)]
        if rules:
            page.heading(f"{heading}: {len(rules)} of {len(looked_at)} rules{_of_area(report)}")
            page.put(", ".join(shown(rules, _MANY, full=page.full or kind == "from-memory")))


def _words(page: Page, pack: Pack) -> None:
    """List the texts for families that lack a language of the pack, and count those that nobody has read in it yet."""
    texts = list(family_texts(pack))
    for language in pack.shape.languages[1:]:
        lacking = [one.place for one in texts if language not in one.texts]
        awaiting = sum(1 for one in texts if language in one.texts and one.texts[language].review)
        told = len(texts) - len(lacking)
        page.heading(f"WORDS FOR FAMILIES IN {language}: {told} of {len(texts)}, {awaiting} await review")
        if lacking:
            page.put("lacking: " + ", ".join(shown(lacking, _MANY, full=page.full)))
