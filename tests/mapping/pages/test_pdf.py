"""Pages as PDF, where WeasyPrint and the system's Pango are; without them one sentence says what to install."""

from __future__ import annotations

import re
import sys
import zlib
from pathlib import Path

import pytest
from support.crowded_visits import CROWDED
from support.shipped_examples import EXAMPLES

from layette.engine import load_pack
from layette.engine.errors import InputError
from layette.mapping.answering import answer
from layette.mapping.cli import main
from layette.mapping.pages.family_sheet import family_sheet
from layette.mapping.pages.frame import print_size
from layette.mapping.pages.pdf import as_pdf
from layette.mapping.pages.report import report

VISIT = str(EXAMPLES / "half-examined-day-5.json")


def needs_weasyprint() -> None:
    try:
        import weasyprint  # noqa: F401
    except (ImportError, OSError):
        pytest.skip("WeasyPrint (the extra `pdf`) or the system's Pango is not here")


def sheets(content: bytes) -> int:
    """Count the pages of a PDF, whose objects may lie in packed streams."""
    packed = re.findall(rb"stream\r?\n(.*?)endstream", content, re.DOTALL)
    told = [content, *(zlib.decompressobj().decompress(one) for one in packed if one[:1] == b"x")]
    return sum(len(re.findall(rb"/Type\s*/Page\b", part)) for part in told)


@pytest.mark.parametrize("verb", ["report", "family-sheet"])
def test_a_page_is_two_sheets_of_paper_at_most(verb: str, tmp_path: Path) -> None:
    needs_weasyprint()
    out = tmp_path / "page.pdf"
    assert main([verb, VISIT, "--out", str(out)]) == 0
    content = out.read_bytes()
    assert content.startswith(b"%PDF-")
    assert 1 <= sheets(content) <= 2


def test_where_a_gap_would_begin_a_third_sheet_the_type_is_smaller() -> None:
    needs_weasyprint()
    from weasyprint import HTML

    long = "<p>word</p>" * 120
    page = f"<style>{print_size((10.0, 8.0), 1, 1)} p {{ margin: 0; line-height: 1.3 }}</style>{long}"
    assert len(HTML(string=page).render().pages) == 3
    assert sheets(as_pdf(page)) == 2


@pytest.mark.slow
@pytest.mark.parametrize("name", CROWDED)
def test_a_page_of_a_very_sick_baby_is_two_sheets_of_paper_at_most(name: str) -> None:
    needs_weasyprint()
    from weasyprint import HTML

    pack = load_pack()
    found = pack.assess(CROWDED[name], readers=["native"])
    made = [report(found, pack, CROWDED[name])] + [
        family_sheet(found, pack, CROWDED[name], one) for one in ("en", "es")
    ]
    assert [len(HTML(string=page).render().pages) for page in made] == [2, 2, 2]


def test_no_word_of_a_printed_report_stands_beyond_the_edge_of_its_paper() -> None:
    needs_weasyprint()
    from weasyprint import HTML
    from weasyprint.formatting_structure.boxes import TextBox

    found = answer((EXAMPLES / "healthy-day-4.json").read_bytes(), load_pack(), readers=["native"])
    pages = HTML(string=report(found.assessment, load_pack(), found.visit)).render().pages
    assert len(pages) <= 2
    words = [(page.width, box) for page in pages for box in page._page_box.descendants() if isinstance(box, TextBox)]
    assert len(words) > 200
    assert [box.text for width, box in words if box.position_x + box.width > width - 20] == []


def test_a_page_that_asks_for_more_gets_nothing() -> None:
    needs_weasyprint()
    assert as_pdf('<p>text<img src="http://127.0.0.1:1/secret.png">').startswith(b"%PDF-")


def test_without_weasyprint_one_sentence_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(InputError, match="libpango"):
        as_pdf("<p>text")


@pytest.mark.parametrize("verb", ["report", "family-sheet"])
def test_a_page_of_another_form_is_refused_before_anything_is_read(
    verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([verb, "/no/such/visit", "--out", str(tmp_path / "page.docx")]) == 2
    assert "FILE.html or FILE.pdf" in capsys.readouterr().err
