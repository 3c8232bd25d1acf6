"""Change one thing at a time in the code, at random, and see whether the quick tests notice.

    python tests/benchmarks/sample_mutations.py --base main~1                 # the modules changed since a commit
    python tests/benchmarks/sample_mutations.py engine/states -n 10 --seed 3  # files or folders
    python tests/benchmarks/sample_mutations.py mapping/door.py -- tests/mapping -k door

A sample is a comparison turned round, `and` for `or`, a number or truth value changed, `is None` turned round, `+` for
`-`, or a `not` left out. The tests are those of the file's room (`engine/states/facts.py`: `tests/engine/states`), and
where these do not notice, those named after `--`. All of it happens in a copy of the checkout, which is removed at the
end. Each sample is a line, `caught` or `SURVIVED`; exits 1 if one survived, 2 if the tests fail without any change.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
QUICK = ("-x", "-q", "-m", "not slow", "-p", "no:cacheprovider")
SECONDS = 900
"""A run of tests that lasts longer hangs in the change, which is caught."""

TURNED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
    ast.And: ast.Or, ast.Or: ast.And, ast.Add: ast.Sub, ast.Sub: ast.Add,
}  # fmt: skip


@dataclass(frozen=True)
class Mutation:
    """One change: the file from the top of the checkout, the line, the bytes to replace, and both texts."""

    file: str
    line: int
    start: int
    end: int
    old: str
    new: str

    def __str__(self) -> str:
        """Return one line."""
        return f"{self.file}:{self.line}  {' '.join(self.old.split())}  ->  {self.new[1:-1]}"

    def applied(self, source: bytes) -> bytes:
        """Return the source with the change."""
        return source[: self.start] + self.new.encode() + source[self.end :]


def main() -> int:
    options = arguments()
    found = [mutation for file in chosen_files(options) for mutation in mutations(file)]
    sample = sorted(random.Random(options.seed).sample(found, min(options.n, len(found))), key=lambda m: m.file)
    print(f"{len(sample)} of {len(found)} changes, seed {options.seed}")
    with tempfile.TemporaryDirectory() as place:
        checkout = copied(Path(place) / "checkout")
        for tests in sorted({tests for mutation in sample for tests in ladder(mutation, options.then)}):
            if not passes(checkout, tests):
                print(f"without any change the tests fail: {' '.join(tests)}")
                return 2
        survived = sum(not caught(mutation, checkout, options.then) for mutation in sample)
    print(f"{len(sample) - survived} caught, {survived} survived")
    return int(survived > 0)


def arguments() -> argparse.Namespace:
    words = sys.argv[1:]
    own, then = (words[: words.index("--")], words[words.index("--") + 1 :]) if "--" in words else (words, [])
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", nargs="*", help="files or folders below engine/ or mapping/")
    parser.add_argument("--base", help="the modules that differ from this commit")
    parser.add_argument("-n", type=int, default=24, help="how many changes (default: 24)")
    parser.add_argument("--seed", type=int, default=random.randrange(10_000), help="for the same sample again")
    options = parser.parse_args(own)
    options.then = tuple(then)
    if not options.files and not options.base:
        parser.error("name files, or a commit with --base")
    return options


def chosen_files(options: argparse.Namespace) -> list[str]:
    """Return the modules to change, from the top of the checkout."""
    names = list(options.files)
    if options.base:
        names += git("diff", "--name-only", "--diff-filter=d", options.base)
    wanted = [name for name in git("ls-files", "engine", "mapping") if name.endswith(".py")]
    return [file for file in wanted if any(file == n or file.startswith(n.rstrip("/") + "/") for n in names)]


def git(*words: str) -> list[str]:
    return subprocess.run(["git", *words], cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines()


def mutations(file: str) -> Iterator[Mutation]:
    """Yield every change that could be made in a file."""
    source = (ROOT / file).read_bytes()
    starts = [0]
    for line in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    for node in candidates(ast.parse(source)):
        for made in turned(node):
            start, end = starts[node.lineno - 1] + node.col_offset, starts[node.end_lineno - 1] + node.end_col_offset
            yield Mutation(file, node.lineno, start, end, source[start:end].decode(), f"({ast.unparse(made)})")


def candidates(node: ast.AST) -> Iterator[ast.AST]:
    """Yield the parts of a tree, but not those that only tools read (annotations, decorators) nor texts with values."""
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not isinstance(child, ast.JoinedStr):
                yield child
                yield from candidates(child)


def turned(node: ast.AST) -> Iterator[ast.AST]:
    """Yield an expression with one thing changed, if it can be."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        yield changed(node, ops=[TURNED[type(node.ops[0])]()])
    elif isinstance(node, ast.BoolOp) or (isinstance(node, ast.BinOp) and type(node.op) in TURNED):
        yield changed(node, op=TURNED[type(node.op)]())
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield node.operand
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield changed(node, value=not node.value)
    elif isinstance(node, ast.Constant) and isinstance(node.value, int):
        yield changed(node, value=node.value + 1)


def changed(node: ast.AST, **parts: object) -> ast.AST:
    made = copy.copy(node)
    for name, value in parts.items():
        setattr(made, name, value)
    return made


def copied(place: Path) -> Path:
    """Copy the files that git has or would take, links as links."""
    for name in git("ls-files", "--cached", "--others", "--exclude-standard"):
        if os.path.lexists(ROOT / name):
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, place / name, follow_symlinks=False)
    return place


def ladder(mutation: Mutation, then: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Return the runs of tests in their order: the room's own, then what was named."""
    return [(room_of(mutation.file),), *([then] if then else [])]


def room_of(file: str) -> str:
    """Return the folder of tests that mirrors the room of a file, or the nearest one above it."""
    folder = Path("tests") / Path(file).parent
    return next(str(place) for place in (folder, *folder.parents) if (ROOT / place).is_dir())


def caught(mutation: Mutation, checkout: Path, then: tuple[str, ...]) -> bool:
    """Make one change in the copy, run the tests, and undo it."""
    path = checkout / mutation.file
    source = path.read_bytes()
    path.write_bytes(mutation.applied(source))
    try:
        by = next((tests for tests in ladder(mutation, then) if not passes(checkout, tests)), None)
    finally:
        path.write_bytes(source)
    print(f"{'caught  ' if by else 'SURVIVED'}  {mutation}", flush=True)
    return by is not None


def passes(checkout: Path, tests: Sequence[str]) -> bool:
    """Whether the quick tests pass in the copy, which is what they import."""
    path = os.pathsep.join(str(checkout / name) for name in (".types", "tests"))
    env = {**os.environ, "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"}
    imported = "import layette.engine.errors as m; print(m.__file__)"
    where = subprocess.run([sys.executable, "-c", imported], cwd=checkout, env=env, capture_output=True, text=True)
    if where.returncode == 0 and not Path(where.stdout.strip()).resolve().is_relative_to(checkout.resolve()):
        raise SystemExit(f"the tests would not read the copy but {where.stdout.strip()}")
    try:
        command = [sys.executable, "-m", "pytest", *QUICK, *tests]
        return not subprocess.run(command, cwd=checkout, env=env, capture_output=True, timeout=SECONDS).returncode
    except subprocess.TimeoutExpired:
        return False


if __name__ == "__main__":
    sys.exit(main())
