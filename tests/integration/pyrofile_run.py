"""Runs in pyrofile-validator's own environment: validates JSON files, writes the issues of all as one JSON document.

``python pyrofile_run.py PACKAGE OUT FILE...``: the official core package as .tgz, where to write, what to validate.
"""

import json
import sys
from pathlib import Path

from pyrofile_validator.config import ValidatorConfig
from pyrofile_validator.core.engine import Validator


def main(package: str, out: str, *files: str) -> None:
    """Validate every file with one loaded package."""
    validator = Validator(ValidatorConfig(local_package_paths=[package]))
    found = {}
    for name in files:
        report = validator.validate_resource(json.loads(Path(name).read_text(encoding="utf-8")))
        found[name] = [issue.to_dict() for issue in report.issues]
    Path(out).write_text(json.dumps(found), encoding="utf-8")


main(*sys.argv[1:])
