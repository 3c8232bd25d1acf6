"""Pages as PDF, where WeasyPrint and the system's Pango are; without them one sentence says what to install."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from support.crowded_visits import CROWDED
from support.shipped_examples import EXAMPLES

from layette.engine import load_pack
from layette.engine.errors import InputError
from layette.mapping.answering import answer
from layette.mapping.cli import main
from layette.mapping.pages.family_sheet import family_sheet
from layette.mapping.pages.pdf import as_pdf
from layette.mapping.pages.report import report

VISIT = str(EXAMPLES / "half-examined-day-5.json")


def needs_weasyprint() -> None:
    try:
        import weasyprint  # noqa: F401
    except (ImportError, OSError):
        pytest.skip("WeasyPrint (the extra `pdf`) or the system's Pango is not here")


@pytest.mark.parametrize("verb", ["report", "family-sheet"])
def test_a_page_is_two_sheets_of_paper_at_most(verb: str, tmp_path: Path) -> None:
    needs_weasyprint()
    out = tmp_path / "page.pdf"
    assert main([verb, VISIT, "--out", str(out)]) == 0
    content = out.read_bytes()
    assert content.startswith(b"%PDF-")
    assert content.count(b"/Type /Page\n") + content.count(b"/Type /Page/") <= 2


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
