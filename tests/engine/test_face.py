"""`import layette` is light, says what is there, and gives the public names."""

from __future__ import annotations

import sys

import pytest
from support.checkout import done

import layette
from layette import assess, load_pack
from layette.engine import assess as engines_assess

LIGHT = """
import sys
import layette
assert not [name for name in sys.modules if name.startswith("layette.")], "importing the face loads nothing behind it"
assert layette.__version__ == layette.engine.__version__
print(sorted(dir(layette)))
"""


def test_the_public_names_are_the_engines() -> None:
    assert assess is engines_assess
    assert load_pack().id == "newborn"
    assert layette.__all__ == sorted(layette.__all__)


def test_the_face_loads_nothing_until_it_is_asked() -> None:
    assert done(sys.executable, "-c", LIGHT).strip() == str(["__version__", "assess", "engine", "load_pack", "mapping"])


def test_a_name_that_is_not_there_is_refused_with_those_that_are() -> None:
    with pytest.raises(AttributeError, match="it has __version__, assess, load_pack"):
        _ = layette.asess  # type: ignore[attr-defined]


def test_packs_and_answers_show_themselves_in_a_line() -> None:
    found = assess({"born": "2026-06-01T08:00:00-05:00", "at": "2026-06-05T09:30:00-05:00", "patient": "Patient/<1>"})
    assert repr(load_pack()).startswith("<Pack newborn ")
    assert len(repr(load_pack())) < 100
    assert len(repr(found)) < 400
    page = found._repr_html_()
    assert page is not None
    assert "Patient/&lt;1&gt;" in page
    assert "TO EXAMINE" in page
