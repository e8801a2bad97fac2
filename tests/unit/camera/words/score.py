"""Prints how many cameras of a set of dumps are understood without a wrong field.

python -m tests.unit.camera.words.score ../shared/cameras
"""

import argparse
from pathlib import Path

from tests.unit.camera.words.shared_set import Problems, expected, scorer
from tethercap.camera.words.answer import answer
from tethercap.camera.words.dump import read_dumps
from tethercap.camera.words.resolve import understand


def problems_by_file(folder: Path) -> dict[str, Problems]:
    """Compare the answer for each camera of the set with what is expected."""
    score, right = scorer(folder), expected(folder)
    return {
        dump.file: score(right[dump.file], answer(understand(dump.widgets, dump.model, make=dump.make), dump))
        for dump in read_dumps(folder / "open.jsonl.gz")
    }


def main() -> int:
    """Print the count and every wrong field."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="folder with open.jsonl.gz, expected_open.json and score.py")
    found = problems_by_file(parser.parse_args().folder)
    for file, problems in found.items():
        for field, want, got in problems:
            print(f"{file}: {field} should be {want!r}, is {got!r}")
    wrong = sum(bool(problems) for problems in found.values())
    print(f"{len(found) - wrong} of {len(found)} cameras without a wrong field")
    return int(wrong > 0)


if __name__ == "__main__":
    raise SystemExit(main())
