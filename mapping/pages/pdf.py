"""A page as PDF."""

from __future__ import annotations

from layette.engine.errors import InputError, InputProblem


def as_pdf(page: str) -> bytes:
    """Return a self-contained page as PDF.

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
    made = HTML(string=page, url_fetcher=nothing).write_pdf()
    assert isinstance(made, bytes)
    return made
