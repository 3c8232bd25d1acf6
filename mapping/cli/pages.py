"""What the verbs share that write one visit as a page: their options, the answer, the file."""

from __future__ import annotations

import argparse

from layette.engine.api import Pack, load_pack
from layette.engine.errors import InputError, InputProblem
from layette.mapping.answering import Answer, answer
from layette.mapping.cli import output
from layette.mapping.cli.input import input_bytes
from layette.mapping.settle import settle

_ENDINGS = (".html", ".pdf")


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options that name the visit, the rules and the page."""
    verb.add_argument("input", metavar="VISIT", help="the file to read; - reads stdin")
    add_out(verb)
    verb.add_argument("--at", metavar="TIME", help="the moment of the visit, ISO 8601 with offset")
    verb.add_argument("--subject", metavar="REF", help="the newborn, where the FHIR input holds more than one")
    verb.add_argument("--encounter", metavar="REF", help="the visit's Encounter (default: the newborn's latest)")
    add_rules(verb)


def add_out(verb: argparse.ArgumentParser) -> None:
    """Add the option that names the page."""
    verb.add_argument("--out", metavar="FILE", required=True, help="the page to write: FILE.html or FILE.pdf")


def add_rules(verb: argparse.ArgumentParser) -> None:
    """Add the options that name the rules."""
    verb.add_argument("--pack", metavar="DIR", help="the rule pack (default: the one that ships with Layette)")
    verb.add_argument("--site", metavar="FILE", help="the site file: settings, contacts, time zone, own tables")


def check(arguments: argparse.Namespace) -> None:
    """Refuse a page that is neither HTML nor PDF, before anything is read."""
    if not arguments.out.lower().endswith(_ENDINGS):
        problem = InputProblem("--out", "setting", "a page is HTML or PDF", arguments.out, "FILE.html or FILE.pdf")
        raise InputError([problem])


def pack(arguments: argparse.Namespace) -> Pack:
    """Return the rules that were asked for."""
    loaded = load_pack(arguments.pack, arguments.site)
    settle()
    return loaded


def answered(arguments: argparse.Namespace, pack: Pack) -> Answer:
    """Return the answer for the visit that was named."""
    content = input_bytes(arguments.input)
    return answer(content, pack, at=arguments.at, subject=arguments.subject, encounter=arguments.encounter)


def write(page: str, name: str) -> None:
    """Write a page as HTML or PDF, by the ending of its name."""
    content: str | bytes = page
    if name.lower().endswith(".pdf"):
        from layette.mapping.pages.pdf import as_pdf

        content = as_pdf(page)
    output.write(content, name)
