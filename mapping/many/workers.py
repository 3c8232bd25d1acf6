"""Answering many inputs with all cores: in the order of the input, with few of them held at a time."""

from __future__ import annotations

import json
import multiprocessing
import signal
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from itertools import islice
from typing import Any

from layette.engine.api import Pack, load_pack
from layette.engine.errors import InputError, InputProblem, LayetteError
from layette.mapping.answering import answer
from layette.mapping.cores import cores
from layette.mapping.many.sources import Item
from layette.mapping.settle import settle

_CHUNK = 8
"""Items that a worker takes at once: enough that the way to it costs little, few enough that all end together."""
_AHEAD = 3
"""Chunks a worker that are read before the first of them is answered."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one item: the ``line`` of JSON to write, and where it was set aside the errors in it.

    ``urgent``: emergencies that the usable rest of a refused input decides.
    """

    item: Item
    text: str
    refused: bool = False
    urgent: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Asked:
    """What all items are asked: as of `answer` and `Assessment.to_json`."""

    at: str | None = None
    readers: tuple[str, ...] | None = None
    detail: bool = False


def answers(
    found: Iterable[Item], pack: Pack, asked: Asked = Asked(), workers: int | None = None, source: Sequence[Any] = ()
) -> Iterator[Outcome]:
    """Yield the outcome of each item, in their order; one that cannot be answered stops none of the others.

    Args:
        found: the items, taken as they are needed; skipped ones are left out.
        pack: the rules.
        asked: what all are asked.
        workers: how many processes; None: as many as may run at once. One: here, without another process.
        source: the arguments of `load_pack`, for a platform on which a process cannot be forked.
    """
    wanted = (item for item in found if not item.skipped)
    number = cores() if workers is None else workers
    if number <= 1:
        yield from (_outcome(item, pack, asked) for item in wanted)
        return
    global _PACK
    _PACK = pack
    settle()
    method = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    pool = ProcessPoolExecutor(number, multiprocessing.get_context(method), _begin, (tuple(source), asked))
    try:
        yield from _in_order(wanted, pool, number)
    finally:
        pool.shutdown(cancel_futures=True)
        _PACK = None


def _in_order(wanted: Iterator[Item], pool: ProcessPoolExecutor, workers: int) -> Iterator[Outcome]:
    waiting: deque[Future[list[Outcome]]] = deque()
    while True:
        while len(waiting) < workers * _AHEAD and (chunk := list(islice(wanted, _CHUNK))):
            waiting.append(pool.submit(_work, chunk))
        if not waiting:
            return
        yield from waiting.popleft().result()


_PACK: Pack | None = None
_ASKED = Asked()


def _begin(source: Sequence[Any], asked: Asked) -> None:
    """Begin a worker: the pack is here already where the process was forked. Ctrl-C is for the parent to answer."""
    global _PACK, _ASKED
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _PACK, _ASKED = _PACK or load_pack(*source), asked


def _work(chunk: list[Item]) -> list[Outcome]:
    assert _PACK is not None
    return [_outcome(item, _PACK, _ASKED) for item in chunk]


def _outcome(item: Item, pack: Pack, asked: Asked) -> Outcome:
    """Answer one item. A fault of ours says no word of the visit, and is told like an error."""
    bare = Item(b"", item.source, item.line, item.done)
    try:
        if item.line is not None and item.content[:1] != b"{":
            message = "a line holds one JSON object: a flat visit or a FHIR resource"
            raise InputError([InputProblem("$", "not-json", message, expected="a line that begins with {")])
        found = answer(item.content, pack, at=asked.at, readers=asked.readers)
        made = found.assessment.to_json(None, detail=asked.detail)
    except LayetteError as error:
        return Outcome(bare, _line(bare, _errors(error)), True, error.urgent)
    except Exception as error:
        fault = f"a fault of the program, not of the input ({type(error).__name__}); nothing was decided"
        return Outcome(bare, _line(bare, {"error": fault}), True)
    head = json.dumps({**_place(bare), "account": str(found.account)}, ensure_ascii=False)
    return Outcome(bare, f'{head[:-1]}, "assessment": {made}}}')


def _place(item: Item) -> dict[str, Any]:
    return {"source": item.source, **({"line": item.line} if item.line is not None else {})}


def _line(item: Item, fields: dict[str, Any]) -> str:
    return json.dumps({**_place(item), **fields}, ensure_ascii=False)


def _errors(error: LayetteError) -> dict[str, Any]:
    if not isinstance(error, InputError):
        return {"error": str(error), "urgent": error.urgent}
    problems = [{part: getattr(one, part) for part in _PARTS if getattr(one, part)} for one in error.problems[:100]]
    left = len(error.problems) - len(problems)
    return {"problems": problems, **({"more": left} if left else {}), "urgent": error.urgent}


_PARTS = ("path", "code", "message", "value", "expected")
