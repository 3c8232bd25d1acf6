"""The page for sites keeps its word: its examples have the right form, and the example site loads and works."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from support.checkout import ROOT, blocks
from support.supplied_lines import rows

from layette.engine import Pack, PackError, load_pack
from layette.engine.pack.site import SiteShape
from layette.engine.pack.written.yaml_nodes import parse

PAGE = (ROOT / "rules/SITE.md").read_text(encoding="utf-8")
EXAMPLE = ROOT / "examples/site"


@pytest.fixture(scope="module")
def example() -> Pack:
    return load_pack(site=EXAMPLE / "site.yaml")


@pytest.mark.parametrize("number", range(2))
def test_an_example_of_the_page_has_the_form_of_a_site_file(number: int) -> None:
    document = parse(blocks("rules/SITE.md", "yaml")[number], "site.yaml")
    assert document.problems == []
    SiteShape.model_validate(document.data)


def test_the_page_explains_every_key() -> None:
    assert re.findall(r"^\| `(\w+)` \|", PAGE, re.MULTILINE) == [
        "site", "timezone", "canonical", "settings", "contacts", "codes", "tables", "rules_off", "windows",
        "from_memory_to_judge",
    ]  # fmt: skip
    assert set(re.findall(r"^\| `(\w+)` \|", PAGE, re.MULTILINE)) == set(SiteShape.model_fields)


def test_the_example_changes_what_it_says(example: Pack) -> None:
    assert "hips.click" not in example.rules
    assert [then.within for then in example.rules["eyes.family-history"].shape.then] == ["5 d"]
    ends = {then.target: then.window for then in example.rules["hips.breech"].shape.then}
    assert "until='46 d'" in repr(ends["hip_ultrasound"])
    assert len(example.site.codes) == 2
    assert example.site.choices(example.settings)["second_bloodspot"] == "at-8-to-14-days"


def filled(place: Path, *, signed: bool) -> Path:
    """The example with its form filled in, with INVENTED lines, and with what it keeps as a remark put in force."""
    for name in ("site.yaml", "local-codes.csv"):
        shutil.copy(EXAMPLE / name, place / name)
    lines = "".join(",".join(map(str, row)) + "\n" for row in rows())
    (place / "aap-2022.csv").write_text((EXAMPLE / "aap-2022-form.csv").read_text() + lines, encoding="utf-8")
    header = (EXAMPLE / "aap-2022-form.yaml").read_text(encoding="utf-8")
    header = header if signed else re.sub(r"  - \{name: <another name>.*\n", "", header)
    (place / "aap-2022.yaml").write_text(header, encoding="utf-8")
    text = re.sub(r"(?m)^# (tables|from_memory_to_judge):", r"\1:", (EXAMPLE / "site.yaml").read_text(encoding="utf-8"))
    (place / "site.yaml").write_text(text, encoding="utf-8")
    return place / "site.yaml"


def test_the_form_of_a_licensed_table_loads_once_it_is_filled_in(tmp_path: Path) -> None:
    site = load_pack(site=filled(tmp_path, signed=True)).site
    assert [*site.tables] == ["aap-2022"]
    assert any("from memory" in notice for notice in site.notices())


def test_the_form_is_refused_where_one_signature_is_missing_or_it_is_empty(tmp_path: Path) -> None:
    with pytest.raises(PackError, match="two people sign off a supplied set"):
        load_pack(site=filled(tmp_path, signed=False))
    shutil.copy(EXAMPLE / "aap-2022-form.csv", tmp_path / "aap-2022.csv")
    with pytest.raises(PackError, match="a table without rows"):
        load_pack(site=tmp_path / "site.yaml")
