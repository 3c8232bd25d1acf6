"""Work that takes too long or breaks its process, told by the body of the request."""

from __future__ import annotations

import os
import time

from layette.engine.api import Pack
from layette.mapping.service.reply import Reply, plain
from layette.mapping.service.work import Job


def odd(pack: Pack, job: Job) -> Reply:
    """Do as the body says; else tell which process answered."""
    if b"sleep" in job.body:
        time.sleep(600)
    if b"rest" in job.body:
        time.sleep(0.5)
    if b"die" in job.body:
        os._exit(3)
    return plain({"process": os.getpid(), "pack": pack.id})
