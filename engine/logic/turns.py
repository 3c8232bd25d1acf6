"""Threads that take turns, and what a forked child must not take over from its parent.

A child has one thread: the one that forked. A lock that another thread held is held in the child for ever, and what
that thread was in the middle of stays half done.
"""

from __future__ import annotations

import os
import threading


class Turns:
    """``with turns.lock``: one thread of this process at a time; a forked child begins with a free lock.

    ``forks`` differs between a process and its children: what C code built under another number is a parent's, and may
    have been in use when the child was made.
    """

    def __init__(self) -> None:
        """Begin with a free lock; meant for modules, since a fork hook is never taken back."""
        self.lock = threading.Lock()
        self.forks = 0
        if hasattr(os, "register_at_fork"):  # not on Windows, which cannot fork
            os.register_at_fork(after_in_child=self._renew)

    def _renew(self) -> None:
        self.lock = threading.Lock()
        self.forks += 1
