"""A loaded pack: what it remembers lives as long as the pack itself."""

from __future__ import annotations

import gc
import weakref

from support.small_pack import FOLDER

from layette.engine import load_pack
from layette.engine.api import Pack


def test_a_pack_that_was_loaded_anew_does_not_keep_the_older_ones_alive() -> None:
    alive: weakref.WeakSet[Pack] = weakref.WeakSet()
    for _ in range(3):
        pack = load_pack(FOLDER)
        pack.assess({"born": "2026-11-20T08:30:00-06:00", "at": "2026-11-24T10:00:00-06:00", "findings": {}})
        alive.add(pack)
    gc.collect()
    assert list(alive) == [pack]
