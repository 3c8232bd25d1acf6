"""JSON out of a generator: nested, with all that is odd in it. To draw it of Hypothesis takes ten times as long."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from typing import Any

Random = random.Random
Leaf = Callable[[Random], Any]
Key = Callable[[Random], str]

NUMBERS = (0, 1, -1, 7, 100, 2**31, -(2**31) - 1, 2**53 + 1, 2**63, -(2**64), 10**18, 10**40)
FLOATS = (0.0, -0.0, 0.1, -1.5, 1e308, 5e-324, 1e-7, float("inf"), float("-inf"), float("nan"))
CONTROLS, NO_CHARACTERS = "\x00\t\n\r\x1b\x7f\x85", "\ufffe\uffff"
BENIGN = "\xa0\xad\u0301\u061c\u200b\u2028\u202e\ud7ff\ue000\ufeff\ufffd\U0001f600é中"
CHARACTERS = CONTROLS + BENIGN + NO_CHARACTERS
PLAIN = "aZ09 .,:;-+_/\\'\"&<>{}[]()%#*!|=~`^$@?"


def random_text(rng: Random, most: int = 8, characters: str = CHARACTERS) -> str:
    """Letters and signs, odd ones among them; now and then any character at all."""
    return "".join(_character(rng, characters) for _ in range(rng.randrange(most + 1)))


def _character(rng: Random, odd: str) -> str:
    roll = rng.random()
    if roll < 0.5:
        return rng.choice(PLAIN)
    if roll < 0.8:
        return rng.choice(odd)
    code = rng.randrange(0xA1, 0x10FFFE - 0x800)
    made = chr(code if code < 0xD800 else code + 0x800)
    return "x" if made in NO_CHARACTERS else made


def random_number(rng: Random) -> int:
    """A whole number of any length, those among which something changes more often."""
    return rng.choice(NUMBERS) if rng.random() < 0.4 else rng.randint(-1, 1) * rng.randrange(10 ** rng.randrange(1, 20))


def random_float(rng: Random) -> float:
    """A number with a fraction: odd, of the size of what is measured, or of any bits."""
    roll = rng.random()
    if roll < 0.4:
        return rng.choice(FLOATS)
    if roll < 0.7:
        return round(rng.uniform(-1000, 1000), rng.randrange(5))
    return float(struct.unpack("<d", rng.randbytes(8))[0])


def random_leaf(rng: Random) -> Any:
    """Nothing, a flag, a number or a text."""
    kind = rng.randrange(5)
    if kind < 2:
        return None if kind == 0 else rng.random() < 0.5
    return (random_number, random_float, random_text)[kind - 2](rng)


def or_one_of(words: tuple[Any, ...], otherwise: Leaf, often: float = 0.3) -> Leaf:
    """Return a maker of one of these words, so often, or of something else."""
    return lambda rng: rng.choice(words) if rng.random() < often else otherwise(rng)


def random_json(rng: Random, leaf: Leaf = random_leaf, key: Key = random_text, leaves: int = 25, most: int = 4) -> Any:
    """Return a value of about so many leaves at most, its lists and objects of up to ``most`` parts."""
    if leaves < 2 or rng.random() < 0.3:
        return leaf(rng)
    parts = rng.randrange(most + 1)
    inner = [random_json(rng, leaf, key, leaves // max(1, parts), most) for _ in range(parts)]
    return inner if rng.random() < 0.5 else {key(rng): one for one in inner}
