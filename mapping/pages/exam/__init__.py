"""The exam page: made from the pack, filled in at the bedside, answered as it grows.

The page decides nothing: what it shows as an answer is the engine's, and what is not recorded is not examined.
"""

from __future__ import annotations

import json
from functools import lru_cache
from importlib.resources import files

from layette.engine.api import Pack
from layette.mapping.pages.exam.model import model

ASSETS = (
    "exam.css",
    "mark.svg",
    "exam.js",
    "answer.js",
    "aside.js",
    "comes.js",
    "files.js",
    "head.js",
    "keys.js",
    "kept.js",
    "more.js",
    "rows.js",
    "times.js",
    "told.js",
    "words.js",
)
"""The files that the page asks for, under `/assets/`."""


@lru_cache(maxsize=8)
def page(pack: Pack) -> str:
    """Return the page for a pack, as HTML; it asks its own origin for `ASSETS`, and for nothing else."""
    here = files(__package__ or "")
    texts = json.loads((here / "texts.json").read_text(encoding="utf-8"))
    made = {"model": model(pack), "texts": texts}
    data = json.dumps(made, ensure_ascii=False, separators=(",", ":")).replace("<", "\\u003c")
    return (here / "exam.html").read_text(encoding="utf-8").replace("{{data}}", data)
