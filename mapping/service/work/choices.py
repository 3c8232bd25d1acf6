"""What a caller may choose beside the visit."""

from __future__ import annotations

from layette.engine.api import Pack
from layette.mapping.service.reply import Refusal
from layette.mapping.service.work.job import Job


def language_of(pack: Pack, job: Job) -> str:
    """Return the language of the words for the family. Raises `Refusal` where the pack has none in it."""
    language = job.chosen.get("language", "en")
    if language not in pack.shape.languages:
        known = ", ".join(pack.shape.languages)
        raise Refusal("query", "this pack has no words for families in that language", language[:20], f"one of {known}")
    return language
