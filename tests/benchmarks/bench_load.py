"""How loading grows with the rules: the shipped pack, and packs that repeat its decision files under new ids.

``python tests/benchmarks/bench_load.py [--rounds 3] [--rules 500 1000 2000 4000]`` prints, for each size, the best time
of all rounds, in seconds of the processor, and the time per rule against the smallest size. Where that ratio stays near
1, loading is linear. Tests are never timed.
"""

from __future__ import annotations

import argparse
import gc
import re
import shutil
import tempfile
import time
from itertools import count, cycle
from pathlib import Path

import yaml

from layette.engine import load_pack

SHIPPED = Path(__file__).parents[2] / "rules/newborn"
SIZES = (500, 1000, 2000, 4000)


def repeated(place: Path, wanted: int) -> Path:
    """Copy the shipped pack to ``place``, with its decision files repeated until they hold ``wanted`` rules."""
    folder = place / f"pack-{wanted}"
    shutil.copytree(SHIPPED, folder)
    written = yaml.safe_load((folder / "pack.yaml").read_text(encoding="utf-8"))
    files: list[str] = written["decisions"]
    texts = {name: (folder / "decisions" / name).read_text(encoding="utf-8") for name in files}
    rules = sum(map(_rules, texts.values()))
    for number, name in zip(count(len(files)), cycle(texts)):
        if rules >= wanted:
            break
        copy = f"{Path(name).stem}-{number}.yaml"
        (folder / "decisions" / copy).write_text(_renamed(texts[name], Path(copy).stem), encoding="utf-8")
        written["decisions"] = [*written["decisions"], copy]
        rules += _rules(texts[name])
    (folder / "pack.yaml").write_text(yaml.safe_dump(written, sort_keys=False), encoding="utf-8")
    return folder


_ID = re.compile(r"^- id: (\S+)$", re.MULTILINE)


def _rules(text: str) -> int:
    return len(_ID.findall(text))


def _renamed(text: str, stem: str) -> str:
    """Give the rules of a file ids under ``stem``, also where they name one another."""
    ids = "|".join(map(re.escape, _ID.findall(text)))
    return re.sub(rf"(?<![\w.-])({ids})(?![\w.-])", lambda found: f"{stem}.{found[1].partition('.')[2]}", text)


def loaded(folder: Path) -> tuple[int, float]:
    """Load a pack; return how many rules it holds, and the seconds of the processor that it took."""
    gc.collect()
    start = time.process_time()
    pack = load_pack(folder)
    return len(pack.rules), time.process_time() - start


def main() -> None:
    """Load packs of all sizes in turns, and print how the time grows."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--rules", type=int, nargs="+", default=SIZES)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folders = [repeated(Path(place), size) for size in sorted(options.rules)]
        loaded(folders[0])
        rounds = [[loaded(folder) for folder in folders] for _ in range(options.rounds)]
    print(f"{'rules':>6} {'seconds':>9} {'ms a rule':>10} {'against the smallest':>21}")
    smallest = 0.0
    for turns in zip(*rounds, strict=True):
        rules, best = turns[0][0], min(seconds for _, seconds in turns)
        smallest = smallest or best / rules
        print(f"{rules:>6} {best:>9.2f} {best / rules * 1000:>10.2f} {best / rules / smallest:>19.2f} x")


if __name__ == "__main__":
    main()
