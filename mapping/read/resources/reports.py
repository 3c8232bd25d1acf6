"""DiagnosticReports: the results that they carry inside, and what they conclude."""

from __future__ import annotations

from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.resources.ledger import WITHDRAWN, Ledger
from layette.mapping.read.resources.observations import read_members
from layette.mapping.read.resources.statements import keep_conclusion


def read_report(ledger: Ledger, entry: Entry) -> None:
    """Read the results that a DiagnosticReport carries inside; those beside it are read by themselves.

    What it concludes is kept.
    """
    if entry.resource.get("status") in WITHDRAWN:
        entry.mark(Outcome.NOT_USED, "a report that was withdrawn")
        return
    read_members(ledger, entry, "result", set())
    if ledger.is_of_baby(entry):
        keep_conclusion(ledger, entry)
    entry.mark(Outcome.NOT_USED, "a report; its results are read by themselves")
