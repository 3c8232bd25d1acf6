"""`layette assess`: one visit in, what is owed to this newborn out."""

from __future__ import annotations

import argparse
import os
import sys
from typing import Any

from layette.engine.api import Pack, load_pack
from layette.engine.errors import InputError, InputProblem, LayetteError
from layette.mapping.answering import Answer, answer
from layette.mapping.cli import failures, output
from layette.mapping.cli.input import check_language, input_bytes
from layette.mapping.fhir.json import dumps
from layette.mapping.settle import settle
from layette.mapping.text.saying import render_saying

FORMS = ("text", "json", "fhir-json", "fhir-xml", "ndjson")
PARTS = ("care", "inbox", "all")
READERS = {name: (name,) for name in ("native", "rete", "closures", "reference")} | {"both": None}


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "Assess one visit: a FHIR R4 Bundle (JSON or XML), an HL7 v2 ORU^R01 message, or a flat visit "
        "(JSON or YAML), told apart by content; or with --to ndjson many, a visit a line or a folder. "
        "The result is a set of proposals for a clinician to judge."
    )
    verb.add_argument("input", metavar="INPUT", help="the file, or with --to ndjson the folder, to read; - reads stdin")
    verb.add_argument("--to", choices=FORMS, default="text", help="form of the output (default: text)")
    verb.add_argument("--out", metavar="FILE", help="write to FILE, whole or not at all (default: stdout)")
    verb.add_argument(
        "--at", metavar="TIME", help="the moment of the visit, ISO 8601 with offset (default: the input's)"
    )
    verb.add_argument("--subject", metavar="REF", help="the newborn, where the FHIR input holds more than one")
    verb.add_argument("--encounter", metavar="REF", help="the visit's Encounter (default: the newborn's latest)")
    verb.add_argument("--pack", metavar="DIR", help="the rule pack (default: the one that ships with Layette)")
    verb.add_argument("--site", metavar="FILE", help="the site file: settings, time zone, own tables")
    verb.add_argument(
        "--readers",
        choices=READERS,
        help="readers of the rules to use (default: both, the second being rete where it is installed, else closures)",
    )
    verb.add_argument(
        "--parts",
        choices=PARTS,
        default="care",
        help="fhir: care is what a person acts on, inbox adds a Task, all is everything there is (default: care)",
    )
    verb.add_argument(
        "--retire",
        metavar="FILE",
        help="fhir: write to FILE, beside the answer, the batch that takes back the drafts of ours it supersedes: "
        "post it after the answer",
    )
    verb.add_argument(
        "--rejected",
        metavar="FILE",
        help="ndjson: write to FILE what is set aside, with its reasons (default: beside the answers)",
    )
    verb.add_argument("--workers", type=int, metavar="N", help="ndjson: processes to use (default: all cores)")
    verb.add_argument("--indent", action="store_true", help="fhir-json: spread it over lines (default: compact)")
    verb.add_argument(
        "--all",
        action="store_true",
        help="text: show every list to its end, with every reason, rule and source; json: with all that explains",
    )
    verb.add_argument(
        "--say", action="store_true", help="text: print what the examiner can say to the family, instead of the summary"
    )
    verb.add_argument(
        "--language",
        metavar="CODE",
        default="en",
        help="language of what the family is told, on the page, by --say or as FHIR, such as es (default: en)",
    )
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Assess the input and write the result; returns the exit code."""
    if arguments.to == "ndjson":
        return _many(arguments)
    try:
        content, account, retired = _answered(arguments)
    except LayetteError as error:
        if not arguments.to.startswith("fhir-"):
            failures.report(error)
            return 2
        failures.report(error, "no answer was written, but an OperationOutcome")
        output.write(_outcome(error, arguments), arguments.out)
        return 2
    output.write(content, arguments.out)
    if retired is not None:
        output.write(retired, arguments.retire)
    if account:
        print(f"layette: {account}", file=sys.stderr)
    return 0


def _many(arguments: argparse.Namespace) -> int:
    # Processes and their pool are imported where there are many visits.
    from layette.mapping.cli import many

    _check(arguments)
    readers = READERS[arguments.readers] if arguments.readers else None
    return many.run(arguments, readers)


def _answered(arguments: argparse.Namespace) -> tuple[str | bytes, str, str | bytes | None]:
    """Return the whole output, the account of the input where the output holds none, and what is to be retired."""
    _check(arguments)
    pack = load_pack(arguments.pack, arguments.site)
    check_language(arguments.language, pack)
    settle()
    reply = answer(
        input_bytes(arguments.input), pack, at=arguments.at, subject=arguments.subject, encounter=arguments.encounter,
        readers=_readers(pack, arguments.readers),
    )  # fmt: skip
    if arguments.say:
        return _said(reply, pack, arguments), str(reply.account), None
    if arguments.to == "text":
        page = {"colour": _colour(arguments.out), "full": arguments.all, "language": arguments.language}
        return reply.to_text(pack, **page), "", None
    if arguments.to == "json":
        return reply.assessment.to_json(detail=arguments.all) + "\n", str(reply.account), None
    bundle = reply.to_fhir(pack, parts=arguments.parts, language=arguments.language)
    retired = _fhir(reply.to_retire(bundle), arguments) if arguments.retire else None
    return _fhir(bundle, arguments), str(reply.account), retired


def _check(arguments: argparse.Namespace) -> None:
    """Refuse an option that the form of the output has no use for, rather than drop it in silence."""
    fhir, told = arguments.to.startswith("fhir-"), arguments.to
    wrong = {
        "--say": (arguments.say and told != "text", "the words are printed as text", "--to text"),
        "--retire": (arguments.retire and not fhir, "only FHIR has drafts to take back", "--to fhir-json or fhir-xml"),
    }
    wrong |= {
        "--rejected": (arguments.rejected and told != "ndjson", "one visit is answered or refused", "--to ndjson"),
        "--workers": (arguments.workers and told != "ndjson", "one visit needs one process", "--to ndjson"),
        "INPUT": (_is_many(arguments.input) and told != "ndjson", "these are many visits", "--to ndjson --out FILE"),
    }
    problems = [InputProblem(name, "setting", why, told, right) for name, (bad, why, right) in wrong.items() if bad]
    if arguments.language != "en" and told in ("json", "ndjson"):
        message = "the JSON holds the words for the family in every language"
        right = "--to text, or FHIR"
        problems.append(InputProblem("--language", "setting", message, arguments.language, right))
    if problems:
        raise InputError(problems)


def _is_many(name: str) -> bool:
    return name != "-" and (name.lower().endswith((".ndjson", ".jsonl")) or os.path.isdir(name))


def _readers(pack: Pack, chosen: str | None) -> tuple[str, ...] | None:
    """Return the names of the readers that were asked for, if they can run here; None where nothing was asked."""
    if chosen is None:
        return None
    try:
        pack.readers(READERS[chosen])
    except ValueError as error:
        raise InputError([InputProblem("--readers", "setting", str(error))]) from None
    return READERS[chosen]


def _said(found: Answer, pack: Pack, arguments: argparse.Namespace) -> str:
    visit = pack.read_visit(found.visit, arguments.at)
    return render_saying(found.assessment, pack, visit, language=arguments.language, full=arguments.all)


def _colour(out: str | None) -> bool:
    """Colour only on a terminal, and never where the user has asked for none (NO_COLOR)."""
    terminal = out is None and sys.stdout is not None and sys.stdout.isatty()
    return terminal and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def _outcome(error: LayetteError, arguments: argparse.Namespace) -> str | bytes:
    from layette.mapping.write import to_outcome

    return _fhir(to_outcome(error), arguments)


def _fhir(resource: dict[str, Any], arguments: argparse.Namespace) -> str | bytes:
    if arguments.to == "fhir-xml":
        from layette.mapping.fhir.xml import to_xml

        return to_xml(resource) + b"\n"
    return dumps(resource, indent=2 if arguments.indent else None) + "\n"
