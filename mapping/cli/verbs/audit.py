"""`layette audit`: what should have happened at each visit of a cohort, and what did, in tables."""

from __future__ import annotations

import argparse
import re
import sys
import time
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from layette.engine.api import load_pack
from layette.engine.errors import InputError, InputProblem
from layette.mapping.cores import cores

if TYPE_CHECKING:
    from layette.mapping.cohort.again import Shared
    from layette.mapping.cohort.audit import Progress

_MONTH = re.compile(r"\d{4}-(?:0[1-9]|1[0-2])")
NEEDED = ("pyarrow", "duckdb")
_EVERY = 0.5
"""Seconds between two pictures of the progress."""


def add(options: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    options.description = (
        "Audit the visits of a cohort: which recommendations were due at each, which were ordered and in time, and "
        "what another pack would change, as tables of Parquet."
    )
    add_argument = options.add_argument
    add_argument(
        "input",
        metavar="INPUT",
        help="NDJSON of visits, a folder (files, Bulk Data), a table; or an audit, to count again",
    )
    add_argument("--out", metavar="DIR", help="the folder of the tables; one in which an audit was stopped goes on")
    add_argument("--columns", metavar="FILE", help="what the columns of a table (CSV, Parquet) mean")
    add_argument("--pack", metavar="DIR", help="another rule pack")
    add_argument("--site", metavar="FILE", help="a site file")
    add_argument("--workers", type=int, metavar="N", help="how many processes; default: as many as there are cores")
    add_argument("--engine", choices=("local", "spark"), default="local", help="where visits are read and counted")
    add_argument("--pseudonymize", action="store_true", help="names as a keyed hash, and no free text")
    add_argument("--key", metavar="FILE", help="the key of the hash; default: `key` in the folder, made if not there")
    add_argument("--record-end", metavar="TIME", help="until when the record tells; default: the last visit")
    add_argument("--by", metavar="GROUPS", help="count again by these columns of the visits, such as clinic,sex")
    add_argument("--from", dest="first", metavar="MONTH", help="count again from this month, such as 2026-01")
    add_argument("--to", dest="last", metavar="MONTH", help="count again up to this month")
    add_argument("--compare", metavar="PACK", help="what another pack would change at the visits of an audit")
    add_argument("--compare-site", metavar="FILE", help="the site file of that pack; alone: of `--pack`")
    add_argument("--rows", action="store_true", help="name in the report the charts to open, worst first")
    add_argument("--least", type=int, default=11, metavar="N", help="smallest count that the report shows (default 11)")
    options.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Audit, or count again; returns 2 where an input was set aside."""
    _check(arguments)
    from layette.mapping.cohort.audit import is_audit

    again = is_audit(arguments.input) and arguments.input != arguments.out
    _check_place(arguments, again)
    return _again(arguments) if again else _audit(arguments)


_OF_AGAIN = {"by": "--by", "first": "--from", "last": "--to", "compare": "--compare", "compare_site": "--compare-site"}
_OF_READING = {"pseudonymize": "--pseudonymize", "columns": "--columns", "record_end": "--record-end"}


def _check_place(arguments: argparse.Namespace, again: bool) -> None:
    """Refuse an option that would do nothing here, and a month that is none."""
    which = _OF_READING if again else _OF_AGAIN
    message = (
        "this is settled when the records are read, and this is an audit already"
        if again
        else "this counts an audit again, and no audit is given"
    )
    right = "an audit of its own" if again else "first layette audit RECORDS --out DIR, then layette audit DIR with it"
    given = [(name, getattr(arguments, key)) for key, name in which.items() if getattr(arguments, key)]
    problems = [InputProblem(n, "setting", message, "" if v is True else str(v), right) for n, v in given]
    months = [(name, month) for name, month in (("--from", arguments.first), ("--to", arguments.last)) if month]
    problems += [_no_month(name, month) for name, month in months if not _MONTH.fullmatch(month)]
    if not problems and arguments.first and arguments.last and arguments.first > arguments.last:
        order = f"{arguments.first} to {arguments.last}"
        problems.append(
            InputProblem("--to", "setting", "the last month lies before the first", order, "in their order")
        )
    if problems:
        raise InputError(problems)


def _no_month(name: str, month: str) -> InputProblem:
    return InputProblem(name, "setting", "this is no month", month, "a year and a month, such as 2026-01")


def _check(arguments: argparse.Namespace) -> None:
    missing = [name for name in NEEDED if find_spec(name) is None]
    problems = []
    if missing:
        message = f"an audit needs {' and '.join(missing)}"
        problems.append(InputProblem("audit", "setting", message, expected="pip install 'layette[audit]'"))
    if arguments.workers is not None and arguments.workers < 1:
        message = "a number of processes from 1 on"
        problems.append(InputProblem("--workers", "setting", message, str(arguments.workers), f"such as {cores()}"))
    if arguments.key and not arguments.pseudonymize:
        problems.append(InputProblem("--key", "setting", "a key is for --pseudonymize", str(arguments.key)))
    if arguments.compare and arguments.engine == "spark":
        message = "two packs are compared on this machine, from the tables of an audit"
        problems.append(InputProblem("--engine", "setting", message, "spark", "--compare without --engine spark"))
    if arguments.least < 1:
        message = "the smallest count that is shown is 1 or more"
        problems.append(InputProblem("--least", "setting", message, str(arguments.least), "1 shows every count"))
    if problems:
        raise InputError(problems)


def _audit(arguments: argparse.Namespace) -> int:
    from layette.mapping.cohort.audit import Wanted, audit
    from layette.mapping.cohort.files import folder
    from layette.mapping.cohort.pseudonyms import key_in

    if arguments.out is None:
        raise InputError([InputProblem("--out", "setting", "an audit needs a folder for its tables", "", "--out DIR")])
    pack, out, key = load_pack(arguments.pack, arguments.site), Path(arguments.out), None
    if arguments.pseudonymize:
        folder(out)
        key = key_in(Path(arguments.key) if arguments.key else out / "key", make=True)
    wanted = Wanted(
        arguments.input, out, arguments.workers or cores(), key, _second(arguments.record_end),
        (arguments.pack, arguments.site), columns=arguments.columns, engine=arguments.engine,
    )  # fmt: skip
    bar = _Bar()
    progress = audit(wanted, pack, bar.show)
    bar.end()
    print(f"layette: {progress}", file=sys.stderr)
    if progress.totals.rejected:
        print(f"layette: set aside with reasons: {out / 'rejected.ndjson'}", file=sys.stderr)
    if progress.totals.urgent:
        print(f"URGENT: {progress.totals.urgent} of these decide an emergency all the same", file=sys.stderr)
    _report(arguments, out)
    return 2 if progress.totals.rejected else 0


def _second(text: str | None) -> int | None:
    if text is None:
        return None
    from datetime import UTC

    from layette.engine.exact.times import moment

    try:
        return moment(text, UTC).hi
    except ValueError as error:
        problem = InputProblem("--record-end", "time", str(error), text, "such as 2026-06-30T23:59:59Z")
        raise InputError([problem]) from None


def _again(arguments: argparse.Namespace) -> int:
    from layette.mapping.cohort.audit import account_of
    from layette.mapping.cohort.recounted import count_rules
    from layette.mapping.cohort.tables import GROUPS

    out = Path(arguments.input)
    account_of(out)
    period = arguments.first, arguments.last
    if arguments.compare or arguments.compare_site:
        return _compared(arguments, out)
    groups = tuple(arguments.by.split(",")) if arguments.by else GROUPS
    if arguments.pack or arguments.site:
        return _by_other_pack(arguments, out, groups, period)
    counted = count_rules(out, groups, period)
    print(f"layette: {counted} visits counted by {', '.join(groups)}", file=sys.stderr)
    _report(arguments, out, period)
    return 0


def _report(arguments: argparse.Namespace, out: Path, period: tuple[str | None, str | None] = (None, None)) -> None:
    """Write the report and the MeasureReports of an audit beside its tables."""
    from layette.mapping.cohort import files
    from layette.mapping.cohort.audit import account_of
    from layette.mapping.pages.audit.measures import measure_reports
    from layette.mapping.pages.audit.page import Choice, audit_report

    choice, account = Choice(arguments.least, period, arguments.rows), account_of(out)
    files.write_bytes(audit_report(out, account, choice).encode(), out / "report.html")
    files.write_json(measure_reports(out, account, choice), out / "measure_reports.json")
    print(f"layette: the report: {out / 'report.html'}", file=sys.stderr)


def _by_other_pack(
    arguments: argparse.Namespace, out: Path, groups: tuple[str, ...], period: tuple[str | None, str | None]
) -> int:
    from layette.mapping.cohort.again import count_again
    from layette.mapping.cohort.recounted import count_rules

    pack = load_pack(arguments.pack, arguments.site)
    to = Path(arguments.out) if arguments.out else out / "again" / pack.digest[:12]
    found = count_again(out, pack, to, arguments.workers or cores(), _elsewhere(arguments))
    counted = count_rules(out, groups, period, to)
    print(f"layette: {counted} visits counted by {', '.join(groups)}: {to / 'rule_counts'}", file=sys.stderr)
    if found.one_by_one:
        print(f"layette: {found.one_by_one} visits were read one by one", file=sys.stderr)
    if found.anew:
        print(f"layette: views that the audit does not hold: {', '.join(found.anew)}", file=sys.stderr)
    return 0


def _elsewhere(arguments: argparse.Namespace) -> Shared | None:
    """Return what counts on Spark, if that is asked for."""
    if arguments.engine == "local":
        return None
    from layette.mapping.cohort.batches.spark import counted

    return counted


def _compared(arguments: argparse.Namespace, out: Path) -> int:
    from layette.mapping.cohort.compared import compare

    other = load_pack(arguments.compare or arguments.pack, arguments.compare_site)
    found = compare(out, other, arguments.workers or cores())
    unread = f"; {found.unread} are not read by the other pack" if found.unread else ""
    print(f"layette: {found.changed} of {found.visits} visits would change{unread}: {out / 'changes'}", file=sys.stderr)
    return 0


class _Bar:
    """Progress on a terminal: visits, rate, time left; elsewhere nothing."""

    def __init__(self) -> None:
        self.on = sys.stderr.isatty()
        self.began = time.monotonic()
        self.last = 0.0

    def show(self, progress: Progress) -> None:
        """Draw it again, if it is time."""
        now = time.monotonic()
        if not self.on or now - self.last < _EVERY:
            return
        self.last, spent = now, max(now - self.began, 0.001)
        rate = (progress.read - progress.resumed) / spent
        left = f", {spent * (1 - progress.done) / progress.done:.0f} s left" if progress.done else ""
        print(f"\r{progress}, {rate:.0f} a second{left} \x1b[K", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        """Take it away."""
        if self.on:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)
