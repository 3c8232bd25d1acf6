"""The page in a notebook: the page of text, in a frame that keeps its columns."""

from __future__ import annotations

from html import escape

from layette.engine.answer.parts.assessment import Assessment
from layette.mapping.text import render


def page(assessment: Assessment) -> str:
    """Return the page as HTML, self-contained: nothing but its text, escaped."""
    return f'<pre style="white-space: pre-wrap; max-width: 100ch">{escape(render(assessment))}</pre>'
