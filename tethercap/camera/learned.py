"""What was learned about models of cameras, kept from one session to the next in the user's state folder."""

import contextlib
import json
import os
import tempfile
from pathlib import Path

FILE_NAME = "learned-cameras.json"
LONGEST_GAP_S = 5.0
"""A camera that is busy for longer has another reason than its last shot."""


def load_gaps(folder: Path | None) -> dict[str, float]:
    """Return the shortest time between two shots for each model that ever was busy, s; empty if nothing is kept.

    Parameters
    ----------
    folder : Path or None
        The user's state folder.
    """
    if folder is None:
        return {}
    try:
        kept = json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))
        return {str(model): min(float(gap_s), LONGEST_GAP_S) for model, gap_s in kept["shortest_gap_s"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        # Learned things are convenient, never needed: a file that cannot be read is as good as none.
        return {}


def save_gap(folder: Path | None, model: str, gap_s: float) -> None:
    """Keep the shortest time between two shots of a model, s."""
    if folder is None:
        return
    gaps = {**load_gaps(folder), model: round(gap_s, 3)}
    with contextlib.suppress(OSError):
        handle, name = tempfile.mkstemp(dir=folder, prefix=FILE_NAME)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump({"shortest_gap_s": gaps}, file, indent=1)
        Path(name).replace(folder / FILE_NAME)
