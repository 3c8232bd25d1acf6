"""Input that is made to cost much or to break a text is refused with its place, and in few lines."""

from __future__ import annotations

from typing import Any

import pytest

from layette.engine.errors import TOLD, InputError, InputProblem, PackError, PackProblem
from layette.mapping.fhir.json import loads
from layette.mapping.fhir.xml import from_xml
from layette.mapping.write.outcome import to_outcome

MANY = 200_001


def test_an_element_with_many_attributes_is_refused_before_they_are_looked_at() -> None:
    attributes = " ".join(f'a{number}="x"' for number in range(100_000))
    inside = f'<Patient xmlns="http://hl7.org/fhir">\n<active {attributes}/></Patient>'
    with pytest.raises(InputError, match=r"^line 2: An element has 100000 attributes; the limit is 32\.") as caught:
        from_xml(inside.encode())
    assert caught.value.problems[0].value == "active"


@pytest.mark.parametrize(
    "text",
    [r'{"a": "\udc00"}', r'{"\udc00": 1}', r'["\uDFFF"]', r'{"\uD83D": 1}', '{"a": "\udc00"}', '{"\ud800": 1}'],
)
def test_half_a_character_is_refused_wherever_it_stands(text: str) -> None:
    with pytest.raises(InputError, match="Half a surrogate pair"):
        loads(text)


def test_a_whole_pair_is_a_character() -> None:
    assert loads(r'{"a": "\ud83d\ude00"}') == {"a": "\N{GRINNING FACE}"}


def _input() -> InputError:
    return InputError(InputProblem(f"Bundle.entry[{number}]", "structure", "odd") for number in range(MANY))


def _pack() -> PackError:
    return PackError(PackProblem("a.yaml", number, "$", "shape", "odd") for number in range(MANY))


@pytest.mark.parametrize("made", [_input, _pack])
def test_a_flood_of_problems_is_told_in_a_hundred_lines_and_none_is_lost(made: Any) -> None:
    error = made()
    assert len(error.problems) == MANY
    assert str(error).count("\n") == TOLD
    assert str(error).endswith(f"and {MANY - TOLD} more")
    issues = to_outcome(error)["issue"]
    assert len(issues) == TOLD + 1
    assert issues[-1]["diagnostics"] == f"and {MANY - TOLD} more problems"


def test_endless_elements_are_refused_in_our_own_words() -> None:
    deep = b'<Patient xmlns="http://hl7.org/fhir">' + b"<a>" * 5000 + b"</a>" * 5000 + b"</Patient>"
    with pytest.raises(InputError, match="nested too deeply; the limit is 256 levels"):
        from_xml(deep)
