"""A page as PDF."""

from __future__ import annotations

from layette.engine.errors import InputError, InputProblem


def as_pdf(page: str) -> bytes:
    """Return a self-contained page as PDF.

    Raises `InputError` where what makes PDF is not installed: it is an extra, since it needs libraries of the system.
    """
    try:
        from weasyprint import HTML, default_url_fetcher
    except (ImportError, OSError):
        message = "PDF is made by WeasyPrint, which is not here, or lacks the system's Pango"
        right = "FILE.html, or `pip install 'layette[pdf]'` and the packages libpango-1.0-0 and libpangoft2-1.0-0"
        raise InputError([InputProblem("--out", "setting", message, expected=right)]) from None

    def nothing(url: str, *_: object, **__: object) -> object:
        """Load what stands in the page itself, and nothing else."""
        if not url.startswith("data:"):
            raise ValueError("a page of ours loads nothing")
        return default_url_fetcher(url)

    made = HTML(string=page, url_fetcher=nothing).write_pdf()
    assert isinstance(made, bytes)
    return made
