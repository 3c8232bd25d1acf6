"""Runs in pyrofile-validator's own environment: validates JSON files, a list at a time, with one loaded package.

``python pyrofile_run.py PACKAGE``: the official core package as .tgz. Each line on stdin is a JSON list: where to write
the issues of all as one JSON document, then the files to validate. Each is answered by a line on stdout.
"""

import gc
import json
import sys
from pathlib import Path

from pyrofile_validator.config import ValidatorConfig
from pyrofile_validator.core.engine import Validator


def main(package: str) -> None:
    """Validate lists of files until stdin ends."""
    gc.disable()  # what is loaded stays to the end, and to look at it again and again takes a tenth of the time
    answers, sys.stdout = sys.stdout, sys.stderr  # the validator prints traces
    validator = Validator(ValidatorConfig(local_package_paths=[package]))
    for line in sys.stdin:
        out, *files = json.loads(line)
        found = {}
        for name in files:
            report = validator.validate_resource(json.loads(Path(name).read_text(encoding="utf-8")))
            found[name] = [issue.to_dict() for issue in report.issues]
        Path(out).write_text(json.dumps(found), encoding="utf-8")
        print("written", file=answers, flush=True)


main(*sys.argv[1:])
