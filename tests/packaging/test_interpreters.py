"""Every further Python on this machine, and a machine without a C compiler."""

from __future__ import annotations

import sys

import pytest
from support.installs import Installed, install, interpreter, other_interpreters

pytestmark = [pytest.mark.slow, pytest.mark.pythons, pytest.mark.xdist_group("packaging")]

TWICE = "conditions read twice; measures and resolution once"


def read_by(installed: Installed) -> tuple[list[str], str]:
    """Return the readers of a visit, and what the answer says of them."""
    found = installed.assessment()
    return found["readers"], found["read"]


@pytest.mark.parametrize("version", other_interpreters())
def test_the_main_job_on_another_python(built, version, tmp_path):
    found = interpreter(version)
    if found is None:
        pytest.skip(f"Python {version} is not on this machine")
    installed = install(built.wheel, tmp_path, interpreter=found, extra="[rete]")
    assert read_by(installed) == (["native", "rete" if version in ("3.11", "3.12") else "closures"], TWICE)
    assert " 0 failed" in installed.layette("check")


def test_without_a_compiler_it_works_and_reads_twice_all_the_same(plain):
    assert read_by(plain) == (["native", "closures"], TWICE)


@pytest.mark.skipif(sys.version_info >= (3, 13), reason="the extra installs nothing from Python 3.13 on")
def test_without_a_compiler_the_extra_is_refused(built, plain):
    no_compiler = {"CC": "/bin/false", "PATH": str(plain.python.parent)}
    # Without --no-cache-dir pip would take a copy that it built earlier with this machine's compiler.
    ended = plain.pip("install", "--no-cache-dir", f"{built.wheel}[rete]", **no_compiler)
    assert ended.returncode != 0
    assert "durable" in ended.stdout + ended.stderr
    assert "durable" not in plain.pip("freeze").stdout
