"""A mutated pack is refused, problem by problem, or works: nothing else, whatever was done to its files."""

from __future__ import annotations

import shutil
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.small_pack import AT, BORN, FOLDER

from layette.engine import InputError, PackError, load_pack
from layette.engine.errors import PACK_CODES, PackProblem

LISTED = sorted(str(p.relative_to(FOLDER)) for p in FOLDER.rglob("*") if p.suffix in (".yaml", ".csv"))
TEXTS = {name: (FOLDER / name).read_text(encoding="utf-8") for name in LISTED}
SCALARS = st.sampled_from(
    ["null", "true", "no", "-1", "0", "1e999", "9" * 5000, "[]", "{}", "''", "24 h", "9999 wk", "999 mo", "1.5 mo",
     "setting.loss_limit",
     "danger_sign", "temperature", "sex_at_birth", "{at_least: 3}", "[[a]]", "{a: {b: c}}",
     "exam.fever", "*x", "&x a", "!y z", "\u00e9", "exam.yaml", "weight", "cord_care", "light_line", "age", "stat"]
)  # fmt: skip


@st.composite
def mutated(draw: st.DrawFn) -> tuple[str, str]:
    """One file of the pack with a few lines or scalars changed."""
    name = draw(st.sampled_from(LISTED))
    lines = TEXTS[name].splitlines()
    for _ in range(draw(st.integers(1, 3))):
        k = draw(st.integers(0, len(lines) - 1))
        how = draw(st.sampled_from(["delete", "double", "swap", "scalar", "scalar", "scalar", "indent"]))
        if how == "delete" and len(lines) > 1:
            del lines[k]
        elif how == "double":
            lines.insert(k, lines[k])
        elif how == "swap":
            other = draw(st.integers(0, len(lines) - 1))
            lines[k], lines[other] = lines[other], lines[k]
        elif how == "indent":
            lines[k] = "  " + lines[k]
        else:
            lines[k] = _with_scalar(draw, lines[k])
    return name, "\n".join(lines) + "\n"


def _with_scalar(draw: st.DrawFn, line: str) -> str:
    """Put another scalar in the place of a word of the line."""
    words = (
        line.replace(",", " , ").replace("]", " ]").replace("}", " }").replace("[", "[ ").replace("{", "{ ").split(" ")
    )
    places = [k for k, word in enumerate(words) if word and word not in ",[]{}-"]
    if places:
        place = draw(st.sampled_from(places))
        colon = ":" if words[place].endswith(":") else ""
        words[place] = draw(SCALARS) + colon
    return " ".join(words)


FULL = {
    "born": BORN, "at": AT, "sex_at_birth": "male",
    "findings": {
        "temperature": {"value": 38.2, "unit": "Cel", "route": "rectal"}, "weight": {"value": 2900, "unit": "g"},
        "birth_weight": {"value": 3300, "unit": "g"}, "testis.left": "not_felt", "barlow.both": "positive",
        "serum_bilirubin": [{"value": 20, "unit": "mg/dL"}, {"value": 12, "unit": "mg/dL", "age": "60 h"}],
        "gestational_age": {"value": 39, "unit": "wk"}, "pulse_oximetry": {"hand": 93, "foot": 88, "unit": "%"},
    },
    "history": {"findings": {"barlow.left": {"value": "positive", "age": "1 h"}}}, "history_complete": ["observations"],
}  # fmt: skip


def problems_of(folder: Path) -> tuple[PackProblem, ...]:
    """The problems of the pack, or none where it works on a visit. Any other error fails the test."""
    try:
        pack = load_pack(folder)
    except PackError as error:
        return error.problems
    pack.run_cases()
    with suppress(InputError):  # a finding that the mutated pack no longer has
        pack.assess(FULL, readers=["native"]).to_json()
    return ()


@settings(max_examples=50, deadline=None)
@given(change=mutated())
def test_a_mutated_pack_is_refused_or_works(change: tuple[str, str], tmp_path_factory: pytest.TempPathFactory) -> None:
    """Nothing but `PackError`, or a pack that assesses a visit or says that it does not know something in it."""
    folder = tmp_path_factory.getbasetemp() / "mutated"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(FOLDER, folder)
    (folder / change[0]).write_text(change[1], encoding="utf-8")
    problems = problems_of(folder)
    assert {p.code for p in problems} <= set(PACK_CODES)
    assert all(p.message and p.file and p.line >= 1 for p in problems)
