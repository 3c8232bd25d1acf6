"""An audit from its input to its tables: in parts, so that one which was stopped goes on and ends the same."""

from __future__ import annotations

import hashlib
import json
import secrets
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from layette.engine.answer.assemble import engine_version
from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem
from layette.mapping.cohort import files, workers
from layette.mapping.cohort.inputs import inputs
from layette.mapping.cohort.matched import match
from layette.mapping.cohort.one_visit import Auditor
from layette.mapping.cohort.part import Part, PartWriter, Totals
from layette.mapping.cohort.pseudonyms import Pseudonyms
from layette.mapping.cohort.recounted import count_rules
from layette.mapping.cohort.tables import GROUPS, PARTS
from layette.mapping.many.sources import Item

PART = 4_000
"""Inputs of one part, unless they are large."""
PART_BYTES = 32 * 1024 * 1024
ACCOUNT, BEGUN = "audit.json", "begun.json"


@dataclass
class Progress:
    """How far an audit is: inputs read and found done already, the share of the input, parts left."""

    totals: Totals = field(default_factory=Totals)
    skipped: int = 0
    resumed: int = 0
    done: float | None = None

    @property
    def read(self) -> int:
        """All inputs that were read."""
        return self.totals.visits + self.totals.rejected + self.skipped

    def __str__(self) -> str:
        """Say the totals, which add up."""
        nothing = f", {self.skipped} empty or of another kind" if self.skipped else ""
        return f"{self.read} read: {self.totals.visits} visits, {self.totals.rejected} set aside{nothing}"


@dataclass(frozen=True)
class Wanted:
    """What an audit is asked: the ``input`` by name, where to, how many processes, with which key (None: names stay).

    ``record_end``: the UTC second up to which the record tells, None: the last visit's. ``source``: the arguments of
    `load_pack`. ``part``: inputs of one part. ``columns``: what the columns of a table mean. ``engine``: where visits
    are read.
    """

    input: str
    out: Path
    workers: int = 1
    key: bytes | None = None
    record_end: int | None = None
    source: tuple[Any, ...] = ()
    part: int = PART
    columns: str | None = None
    engine: Literal["local", "spark"] = "local"


def audit(
    wanted: Wanted, pack: Pack, show: Callable[[Progress], None] = lambda _: None, found: Iterable[Item] | None = None
) -> Progress:
    """Audit every input, and write the tables; of an audit that was stopped, what is not done yet.

    ``found``: the inputs, where they are not those of `cohort.inputs`. Raises `InputError` where ``out`` holds
    another audit or there is no visit, OSError where something cannot be read or written: nothing is then half-written.
    """
    out, progress = wanted.out, Progress()
    _begin(wanted, pack)
    names = None if wanted.key is None else Pseudonyms(wanted.key)
    writer = PartWriter(Auditor(pack), out, names)
    parts = _left(
        _parts(_counted(found or inputs(wanted.input, pack, wanted.columns, out / "parts"), progress), wanted.part),
        out,
        progress,
        show,
    )
    for totals in _done(parts, writer, wanted):
        progress.totals.add(totals)
        show(progress)
    if not any((out / "parts").glob("*.json")):
        raise InputError([_nothing_in(wanted, progress)])
    _finish(wanted, pack, progress)
    return progress


def _nothing_in(wanted: Wanted, progress: Progress) -> InputProblem:
    """Return that there is nothing to audit, with how much was left out."""
    left = f", and {progress.skipped} left out: empty, of another kind, or older than the pack covers"
    message = "there is no visit in it" + (left if progress.skipped else "")
    right = "lines of visits or Bundles, a folder of them, Bulk Data with visits, or a table of findings"
    return InputProblem("INPUT", "structure", message, wanted.input, right)


def _done(parts: Iterable[Part], writer: PartWriter, wanted: Wanted) -> Iterator[Totals]:
    if wanted.engine == "local":
        return workers.done(parts, writer, wanted.workers, wanted.source)
    from layette.mapping.cohort.batches.spark import encoded

    return encoded(parts, writer)


def _begin(wanted: Wanted, pack: Pack) -> None:
    """Make the folders; refuse a folder in which parts of another audit were done."""
    files.folder(wanted.out)
    for name in (*PARTS, "statuses", "values", "parts"):
        files.folder(wanted.out / name)
    files.clear_unfinished(wanted.out)
    mine, place = _mark(wanted, pack), wanted.out / BEGUN
    before = json.loads(place.read_text(encoding="utf-8")) if place.exists() else mine
    differ = [name for name, value in mine.items() if before.get(name) != value]
    if differ and any((wanted.out / "parts").glob("*.json")):
        message = f"the folder holds another audit: it differs in {', '.join(differ)}"
        raise InputError([InputProblem("--out", "setting", message, str(wanted.out), "a folder of its own")])
    if differ:
        files.clear_parts(wanted.out)
    files.write_json(mine, place)


def _mark(wanted: Wanted, pack: Pack) -> dict[str, Any]:
    """Return what two runs of one audit have in common."""
    key = None if wanted.key is None else hashlib.sha256(wanted.key).hexdigest()[:16]
    settings = {name: str(choice) for name, choice in pack.plan.states.choices.items()}
    return {
        "input": _state(wanted.input), "columns": wanted.columns and _state(wanted.columns), "pack": pack.digest,
        "engine": engine_version(), "settings": settings,
        "key": key, "part": wanted.part,
    }  # fmt: skip


def _state(name: str) -> str:
    """Return a digest of what an input is: its files, with their size and time; what comes by a pipe is always new."""
    if name == "-":
        return f"stdin {secrets.token_hex(16)}"
    place = Path(name)
    found = sorted(one for one in place.rglob("*") if one.is_file()) if place.is_dir() else [place]
    told = [(str(one.relative_to(place)), one.stat().st_size, one.stat().st_mtime_ns) for one in found if one.exists()]
    return hashlib.sha256(repr(told).encode()).hexdigest()[:32]


def _counted(found: Iterable[Item], progress: Progress) -> Iterator[Item]:
    for item in found:
        progress.skipped += bool(item.skipped)
        progress.done = item.done
        if not item.skipped:
            yield item


def _parts(found: Iterable[Item], most: int) -> Iterator[Part]:
    """Yield the inputs in parts: the same ones for the same input."""
    number = first = size = 0
    held: list[Item] = []
    for item in found:
        held.append(item)
        size += len(item.content)
        if len(held) >= most or size >= PART_BYTES:
            yield Part(number, first, tuple(held))
            number, first, size, held = number + 1, first + len(held), 0, []
    if held:
        yield Part(number, first, tuple(held))


def _left(parts: Iterable[Part], out: Path, progress: Progress, show: Callable[[Progress], None]) -> Iterator[Part]:
    """Yield the parts that are not done yet; the others are counted."""
    for part in parts:
        account = out / "parts" / f"{part.name}.json"
        if account.exists():
            progress.totals.add(Totals(**json.loads(account.read_text(encoding="utf-8"))))
            progress.resumed += len(part.items)
            show(progress)
        else:
            yield part


def _finish(wanted: Wanted, pack: Pack, progress: Progress) -> None:
    out, totals = wanted.out, progress.totals
    end = wanted.record_end if wanted.record_end is not None else totals.record_end
    with files.whole(out / "rejected.ndjson") as part, part.open("wb") as stream:
        for place in sorted((out / "parts").glob("part-*.rejected.ndjson")):
            stream.write(place.read_bytes())
    count_rules(out, GROUPS)
    match(out, pack, end)
    files.write_json(_account(wanted, pack, progress, end), out / ACCOUNT)


def _account(wanted: Wanted, pack: Pack, progress: Progress, end: int) -> dict[str, Any]:
    totals = progress.totals
    return {
        "layette_audit": 1,
        "pack": {"id": pack.id, "version": pack.version, "digest": pack.digest},
        "engine": engine_version(),
        "settings": {name: str(choice) for name, choice in pack.plan.states.choices.items()},
        "targets": {name: target.label for name, target in sorted(pack.targets.items())},
        "pseudonymized": wanted.key is not None,
        "record_end": end,
        "groups": list(GROUPS),
        "totals": {
            "read": progress.read, "visits": totals.visits, "rejected": totals.rejected, "skipped": progress.skipped,
            "rejected_with_emergency": totals.urgent,
        },
    }  # fmt: skip


def account_of(out: Path) -> dict[str, Any]:
    """Return the account of a finished audit. Raises `InputError` where there is none."""
    try:
        made: dict[str, Any] = json.loads((out / ACCOUNT).read_text(encoding="utf-8"))
    except FileNotFoundError:
        message = "no finished audit in this folder"
        raise InputError([InputProblem("INPUT", "setting", message, str(out), "the folder of an audit")]) from None
    return made


def is_audit(name: str) -> bool:
    """Whether a folder holds an audit, finished or begun."""
    return any((Path(name) / file).is_file() for file in (ACCOUNT, BEGUN))
