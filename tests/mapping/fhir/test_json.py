"""FHIR JSON keeps every digit and refuses what would be lost without a word."""

import contextlib
import json
from datetime import date
from decimal import Decimal
from random import Random
from typing import Any
from unittest import mock

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.random_json import random_json, random_number, random_text
from support.seeds import EACH, seeds, several
from support.shipped_examples import EXPECTED, NAMES

from layette.engine.errors import InputError
from layette.mapping import fhir_json
from layette.mapping.fhir.json import DEPTH_LIMIT, _quickly, decimal_text, dumps, loads


def decimal(rng: Random) -> Decimal:
    """A number with its digits: with three places, as they are measured, or with any."""
    digits, places = rng.randint(-(10**17), 10**17) // 10 ** rng.randrange(17), rng.choice([3, rng.randint(1, 17)])
    return Decimal(digits).scaleb(-places)


def whole(rng: Random) -> Any:
    return rng.choice([None, True, False, random_text(rng), max(min(random_number(rng), 10**18), -(10**18))])


def whole_or_decimal(rng: Random) -> Any:
    return decimal(rng) if rng.random() < 0.3 else whole(rng)


def digits(value):
    """Compare numbers by their digits: 3.25 is not 3.250."""
    if isinstance(value, dict):
        return {key: digits(child) for key, child in value.items()}
    if isinstance(value, list):
        return [digits(child) for child in value]
    return value.as_tuple() if isinstance(value, Decimal) else (type(value), value)


@settings(max_examples=200 // EACH, deadline=None)
@given(seeds)
def test_round_trip(seed):
    for rng in several(seed):
        value = random_json(rng, whole_or_decimal)
        text = dumps(value)
        assert digits(loads(text)) == digits(value)
        assert dumps(loads(text.encode())) == text
        assert digits(loads(dumps(value, indent=1))) == digits(value)


@settings(max_examples=200 // EACH, deadline=None)
@given(seeds)
def test_same_as_the_standard_library_without_fractions(seed):
    for rng in several(seed):
        value = random_json(rng, whole)
        assert json.loads(dumps(value)) == value


def anything(rng: Random) -> Any:
    leaf = rng.choice([whole_or_decimal, whole_or_decimal, random_number])
    return leaf(rng)


@settings(max_examples=400 // EACH, deadline=None)
@given(seeds)
def test_the_quick_encoder_writes_what_the_standard_one_writes(seed):
    for rng in several(seed):
        value, indent = random_json(rng, anything), rng.choice([None, 2])
        with mock.patch("layette.mapping.fhir.json._quickly", return_value=None):
            standard = dumps(value, indent=indent)
        assert dumps(value, indent=indent) == standard


@pytest.mark.parametrize("name", NAMES)
def test_what_goes_out_is_written_by_the_quick_encoder(name):
    answer = loads((EXPECTED / f"{name}.fhir.json").read_bytes())
    assert _quickly(answer, None) == dumps(answer)


@pytest.mark.parametrize("odd", [date(2026, 5, 4), b"x", {1, 2}, 1j])
def test_the_quick_encoder_takes_no_more_than_the_standard_one(odd):
    with pytest.raises(TypeError, match="no place"):
        dumps({"a": odd})


@pytest.mark.parametrize("text", ["3.250", "0.0", "-0.10", "0.0000001", "1.20E+3", "3", "-0", "120", "0.00"])
def test_numbers_stay_as_written(text):
    assert dumps(loads(text)) == text


def test_exponents_keep_their_digits():
    assert dumps(loads("1.20e3")) == "1.20E+3"
    assert decimal_text(loads("1e-7")) == "0.0000001"
    assert loads("1.20e3").as_tuple() == Decimal("1.20E+3").as_tuple()


@pytest.mark.parametrize("mark", ["\ue000", "\ue0001.5\ue000", "".join(map(chr, range(0xE000, 0xE020)))])
def test_texts_that_look_like_the_marks_of_decimals(mark):
    value = {"a": Decimal("1.50"), mark: mark, "c": f'"{mark}2{mark}"'}
    assert digits(loads(dumps(value))) == digits(value)


@pytest.mark.parametrize(
    ("data", "path", "words"),
    [
        (b'{"a": 1, "a": 2}', "an object.a", "twice"),
        (b'{"resourceType": "Patient", "id": "1", "id": "2"}', "Patient.id", "twice"),
        (b'{"a": NaN}', "a number", "no such number"),
        (b'{"a": -Infinity}', "a number", "no such number"),
        (b'{"a": 1,\n "b"}', "line 2 column 5", "not JSON"),
        (b"", "line 1 column 1", "not JSON"),
        (b'"\xff"', "byte 1", "UTF-8"),
        (b'{"a": 01}', "line 1 column 8", "not JSON"),
        (b'"a\tb"', "line 1 column 3", "not JSON"),
        (b'"\\ud800"', "a text", "surrogate"),
        (b"1" * 100, "a number", "digits"),
        (b"1e999999999", "a number", "digits"),
        (b"[" * (DEPTH_LIMIT + 2) + b"]" * (DEPTH_LIMIT + 2), "input", "nested"),
        (b"[" * 200_000, "input", "nested"),
        (b"{} {}", "line 1 column 4", "not JSON"),
    ],
)
def test_refused(data, path, words):
    with pytest.raises(InputError) as caught:
        loads(data)
    (problem,) = caught.value.problems
    assert problem.code == "not-json"
    assert problem.path == path
    assert words in problem.message


def test_too_large():
    with pytest.raises(InputError, match="limit is 10") as caught:
        loads(b'{"a": "0123456789"}', limit=10)
    assert caught.value.problems[0].code == "too-large"


def test_byte_order_mark_and_escapes():
    assert loads(b"\xef\xbb\xbf{}") == {}
    assert loads("\ufeff[]") == []
    assert loads(b'"\\ud83d\\ude00"') == "\U0001f600"
    assert loads(b"[" * DEPTH_LIMIT + b"]" * DEPTH_LIMIT)


@given(st.binary(max_size=200) | st.text(max_size=200))
def test_anything_is_read_or_refused(data):
    with contextlib.suppress(InputError):
        loads(data)


def test_what_is_no_json_is_not_written():
    with pytest.raises(ValueError, match="finite"):
        dumps(Decimal("NaN"))
    with pytest.raises(ValueError, match="JSON compliant"):
        dumps(float("inf"))
    with pytest.raises(TypeError, match="no place"):
        dumps({"a": object()})
    ring: list[object] = []
    ring.append(ring)
    with pytest.raises(ValueError, match="holds itself"):
        dumps(ring)


def test_it_goes_by_the_name_that_callers_know():
    assert {name: getattr(fhir_json, name) for name in fhir_json.__all__} == {"dumps": dumps, "loads": loads}
