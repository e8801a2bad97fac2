"""Finds the open set of camera dumps that lies outside the repository, and the driver's message catalogues."""

import gettext
import importlib.util
import json
import os
import sys
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

Problems = list[tuple[str, object, object]]
Record = dict[str, object]

_REPOSITORY = Path(__file__).resolve().parents[4]


def cameras_folder() -> Path | None:
    """Folder with open.jsonl.gz, expected_open.json and score.py; None where it is absent."""
    named = os.environ.get("TETHERCAP_CAMERAS")
    folder = Path(named) if named else _REPOSITORY.parent / "shared" / "cameras"
    return folder if (folder / "open.jsonl.gz").is_file() else None


@cache
def expected(folder: Path) -> Mapping[str, Record]:
    """Answers that a correct resolver gives, by file."""
    return {record["file"]: record for record in json.loads((folder / "expected_open.json").read_text())}


@cache
def scorer(folder: Path) -> Callable[[Record, Record], Problems]:
    """Function `score(expected, answer)` of the set."""
    spec = importlib.util.spec_from_file_location("cameras_score", folder / "score.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    # The folder may be read only: leave no compiled file behind.
    before, sys.dont_write_bytecode = sys.dont_write_bytecode, True
    try:
        spec.loader.exec_module(module)
    finally:
        sys.dont_write_bytecode = before
    function: Callable[[Record, Record], Problems] = module.score
    return function


@cache
def catalogues() -> Mapping[str, Mapping[str, str]]:
    """Message catalogues of the installed driver: language -> English text -> translation; empty where it has none."""
    spec = importlib.util.find_spec("gphoto2")
    if spec is None or spec.origin is None:
        return {}
    found = {}
    for path in sorted(Path(spec.origin).parent.glob("libgphoto2/locale/*/LC_MESSAGES/libgphoto2-6.mo")):
        with path.open("rb") as file:
            texts = gettext.GNUTranslations(file)._catalog  # type: ignore[attr-defined]
        found[path.parts[-3]] = {key: text for key, text in texts.items() if isinstance(key, str) and text}
    return found
