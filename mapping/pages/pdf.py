"""A page as PDF."""

from __future__ import annotations

from layette.engine.errors import InputError, InputProblem
from layette.mapping.pages.frame import in_smaller_type

PAGES = 2
"""The sheets of paper that a page may take."""
_SMALLER = (1.0, 0.95, 0.9, 0.85, 0.8)
"""How far the type shrinks for that, step by step: where a figure moves to the next sheet, it leaves a gap behind."""


def as_pdf(page: str) -> bytes:
    """Return a self-contained page as PDF, in smaller type where it takes more than two sheets.

    Raises `InputError` where what makes PDF is not installed: it is an extra, since it needs libraries of the system.
    """
    try:
        from weasyprint import HTML
        from weasyprint.urls import URLFetcher
    except (ImportError, OSError):
        message = "PDF is made by WeasyPrint, which is not here, or lacks the system's Pango"
        right = "FILE.html, or `pip install 'layette[pdf]'` and the packages libpango-1.0-0 and libpangoft2-1.0-0"
        raise InputError([InputProblem("--out", "setting", message, expected=right)]) from None

    nothing = URLFetcher(allowed_protocols=())  # all that a page of ours shows stands in it
    for share in _SMALLER:
        laid = HTML(string=in_smaller_type(page, share), url_fetcher=nothing).render()
        if len(laid.pages) <= PAGES:
            break
    made = laid.write_pdf()
    assert isinstance(made, bytes)
    return made
