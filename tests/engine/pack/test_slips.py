"""The slips of somebody who is no programmer: each message says what would be right, in nobody else's words."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from support.small_pack import copied

from layette.engine import PackError, load_pack

D, F = "decisions/exam.yaml", "findings/exam.yaml"
BECAUSE = "because: Fever in the first weeks can be a serious infection."
WHEN = "when: {temperature.highest: {at_least: 38, over: 24 h}}"
THEN = "then: [{refer: emergency_evaluation, priority: stat}]\n  because: Fever"

SLIPS: dict[str, tuple[str, str, str, int, str]] = {
    "a colon": (D, "title: Fever\n", "title: Fever: 38 or more\n", 8, "a text holds a colon: put quotes round"),
    "an apostrophe": (D, BECAUSE, "because: 'The baby's fever'", 11, "put the whole text in double quotes"),
    "a quote at the start": (D, BECAUSE, 'because: "Sepsis" is possible', 11, "goes on after its closing quote"),
    "a quote that stays open": (D, BECAUSE, 'because: "Sepsis', 0, "is opened and not closed; it begins in line 11"),
    "a sign at the start": (D, BECAUSE, "because: % of babies", 11, "cannot begin with this sign: put quotes round"),
    "a star at the start": (D, BECAUSE, "because: *important", 11, "or put quotes round a text that begins so"),
    "a starred word": (D, BECAUSE, "because: *note* this", 11, "cannot begin with this sign: put quotes round"),
    "an and at the start": (D, BECAUSE, "because: &c this", 11, "put quotes round a text that begins so"),
    "a bar at the start": (D, BECAUSE, "because: | this", 11, "cannot begin with this sign: put quotes round"),
    "a word in braces": (D, BECAUSE, "because: {A} fever", 11, "cannot begin with this sign: put quotes round"),
    "a word in brackets": (D, BECAUSE, "because: [sic] fever", 11, "cannot begin with this sign: put quotes round"),
    "an amount without a unit": (D, "within: 24 h}]", "within: 24}]", 4, "an amount of time has its unit"),
    "a decimal comma": (D, "at_least: 38", "at_least: 38,5", 9, "a number has a point, not a comma"),
    "nothing as a bound": (D, "at_least: 38", "at_least: ", 9, "not nothing"),
    "a remark that cuts": (D, BECAUSE, "because: This is reason # 1", 11, "begins a remark and cuts this text short"),
    "a remark that cuts all": (D, BECAUSE, "because: #1 of all reasons", 11, "begins a remark and cuts this text"),
    "a list for a mapping": (D, WHEN, WHEN.replace("{temp", "[{temp") + "]", 9, "a mapping is due here"),
    "a mapping for a list": (D, THEN, THEN.replace("[", "").replace("]", ""), 10, "a list is due here: each entry"),
    "too far to the right": (D, "  title: Fever\n", "   title: Fever\n", 8, "indent it as they are"),
    "too far to the left": (D, "  title: Fever\n", " title: Fever\n", 8, "indent it as they are"),
    "a tab": (D, "  title: Fever\n", "\ttitle: Fever\n", 8, "indent with spaces"),
    "an open bracket": (D, WHEN, WHEN[:-1], 10, "or a comma is missing; it begins in line 9"),
    "true as a value": (F, 'values: ["yes", "no"]\n  barlow', "values: [yes, true]\n  barlow", 33, "(found true)"),
    "true in a rule": ("guidance/care.yaml", '"yes"', "true", 3, 'true is no value of \'cord_attached\': "yes", "no"'),
    "a unit written out": (F, "unit: Cel", "unit: degrees Celsius", 12, "for 'degrees Celsius' write 'Cel'"),
    "an amount written out": (D, "within: 24 h}]", "within: 24 hours}]", 4, "such as '24 h' (s, min, h, d, wk or mo)"),
    "a bound in quotes": (D, "at_least: 38", "at_least: '38'", 9, "write the number alone, without quotes"),
    "a finding": (D, "temperature.highest", "temprature.highest", 9, "did you mean 'temperature'?"),
    "a value": (D, "[absent, white,", "[absent, whtie,", 3, "did you mean 'white'?"),
    "a target": (D, THEN, THEN.replace("evaluation", "evalution"), 10, "did you mean 'emergency_evaluation'"),
    "a source": (D, "infection.\n  source: invented", "infection.\n  source: inventd", 12, "did you mean 'invented'"),
    "a rule": (D, "[exam.barlow-first]", "[exam.barlow-frist]", 64, "did you mean 'exam.barlow-first'"),
    "a view": (D, "red_reflex.either", "red_reflex.ether", 3, "did you mean 'either'"),
    "a setting": (D, "setting: loss_limit", "setting: loss_limt", 15, "did you mean 'loss_limit'?"),
    "a key": (D, "title: Fever", "titel: Fever", 8, "did you mean 'title'"),
    "a key of a consequence": (D, THEN, THEN.replace("priority", "prioritiy"), 10, "'priority'? The keys are refer,"),
    "a key of a target": ("targets/all.yaml", "label: Ophth", "lable: Ophth", 1, "did you mean 'label'? The keys"),
    "a key of a table": ("tables/wet.yaml", "label:", "lable:", 1, "'lable' is no key here; did you mean 'label'?"),
    "a bound's name": (D, "at_least: 38", "at_leest: 38", 9, "did you mean 'at_least'"),
    "a kind of source": ("sources.yaml", "invented: {kind: our-reading", "invented: {kind: memory", 1, "from-memory'?"),
}  # fmt: skip
"""By name: the file, what stands there, what is written instead, the line that is told, what is said."""

FOREIGN = re.compile(
    r"input should|valid (string|list|dict)|extra inputs|pydantic|discriminator|mapping values|block (mapping|end)"
    r"|expected key|token|field required|\bdict\b|None|True|False",
    re.IGNORECASE,
)
"""Words of the libraries that find mistakes, and of the language in which Layette is written."""


@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_is_told_with_what_would_be_right(name: str, tmp_path: Path) -> None:
    file, old, new, line, says = SLIPS[name]
    with pytest.raises(PackError) as caught:
        load_pack(copied(tmp_path, (file, old, new)))
    here = [p for p in caught.value.problems if says in p.message]
    assert here, caught.value
    assert here[0].file == file
    assert line in (0, here[0].line)
    foreign = [p.message for p in caught.value.problems if FOREIGN.search(p.message)]
    assert name.startswith("true ") or foreign == []


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(PackError, match=r"there is no folder '.*nowhere'"):
        load_pack(tmp_path / "nowhere")


def test_a_remark_after_what_is_no_sentence_is_a_remark(tmp_path: Path) -> None:
    folder = copied(tmp_path, (D, "priority: urgent, within: 14 d}]", "priority: urgent, within: 14 d}]  # two weeks"))
    assert load_pack(folder).rules["exam.barlow-first"].shape.title == "Barlow positive"


def test_a_folder_that_is_a_link_is_not_walked(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    (folder / "targets" / "more").symlink_to("/proc", target_is_directory=True)
    assert load_pack(folder).rules
    shutil.rmtree(folder / "decisions")
    (folder / "decisions").symlink_to("/proc", target_is_directory=True)
    with pytest.raises(PackError, match=r"decisions/exam\.yaml"):
        load_pack(folder)
