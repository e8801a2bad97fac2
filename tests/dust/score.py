"""How well dust is told from pictures, on simulated film: ``python -m tests.dust.score``.

Each frame is copied with dust and without, same grain and noise, so that it is known what is dust. The dust is some
twelve times as dense as on the simulated rolls, so that there is enough to count; the pictures are drawn, with edges
harder than a photograph's, which is the hard case.
"""

import sys
import time
from dataclasses import dataclass

import cv2
import numpy as np

from tests.dust.pictures import DustyFrame, dusty_frame, log_light
from tethercap.convert.dust import find_dust
from tethercap.convert.dust_repair import repair

FRAMES = (
    ("portrait", "colour-negative"), ("hills", "colour-negative"), ("forest", "colour-negative"),
    ("night", "colour-negative"), ("snow", "colour-negative"), ("street", "bw-negative"), ("beach", "slide"),
    ("meadow", "colour-negative"), ("window", "bw-negative"), ("lake", "slide"),
)  # fmt: skip
_FAINT_DENSITY = 0.04


@dataclass(frozen=True)
class Score:
    """What was found on one frame."""

    seen: int
    """Specks that can be seen."""
    found: int
    false: int
    """Taken for dust on the dusty picture, and none."""
    false_on_clean: int
    """The same on the picture without any."""
    error_before: float
    """Root mean square of the density that dust adds, over the specks that were found."""
    error_after: float
    """The same after the repair."""
    seconds: float


def score_frame(frame: DustyFrame) -> Score:
    """Look for dust on a frame and hold it to the truth."""
    labels, seen = frame.specks()
    began_s = time.perf_counter()
    found = find_dust(frame.dusty, frame.corners, frame.mm_per_px)
    seconds = time.perf_counter() - began_s
    repaired = repair(frame.dusty, found.cells, frame.corners)
    clean, dusty, mended = (log_light(raw) for raw in (frame.clean, frame.dusty, repaired))
    faint = cv2.dilate((np.abs(clean - dusty) > _FAINT_DENSITY).astype(np.uint8), np.ones((5, 5), np.uint8))
    number, parts = cv2.connectedComponents(found.cells, connectivity=8)
    false = sum(not faint[parts == part].any() for part in range(1, number))
    at = (found.cells > 0) & (labels > 0)

    def error(picture: np.ndarray) -> float:
        return float(np.sqrt(np.mean((picture - clean)[at] ** 2))) if at.any() else 0.0

    return Score(
        seen,
        len(set(np.unique(labels[found.cells > 0])) - {0}),
        false,
        find_dust(frame.clean, frame.corners, frame.mm_per_px).specks,
        error(dusty),
        error(mended),
        seconds,
    )


def main() -> None:
    """Print the table."""
    width_px = int(sys.argv[1]) if len(sys.argv) > 1 else 3000
    print(f"{'frame':26}{'seen':>6}{'found':>7}{'false':>7}{'on clean':>10}{'error':>15}{'s':>7}")
    scores = []
    for number, (scene, kind) in enumerate(FRAMES, start=1):
        frame = dusty_frame(scene, kind=kind, seed=number, width_px=width_px, amount=12.0)
        score = score_frame(frame)
        scores.append(score)
        print(
            f"{frame.name:26}{score.seen:6}{score.found:7}{score.false:7}{score.false_on_clean:10}"
            f"{score.error_before:8.3f} > {score.error_after:.3f}{score.seconds:7.2f}"
        )
    seen, found, false, clean = (
        sum(getattr(s, n) for s in scores) for n in ("seen", "found", "false", "false_on_clean")
    )
    print(f"found {found} of {seen} ({found / seen:.0%}), {false} false beside them")
    print(f"{clean} false on the same {len(scores)} frames without dust")


if __name__ == "__main__":
    main()
