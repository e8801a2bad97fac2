"""How well frames are found in pictures of the second drawing: `python -m tests.film_second.score`."""

import argparse
import os
import sys
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from tests.film_pictures.cases import Case
from tests.film_pictures.score import FIRST_JUDGED_SEED, Judged, draw_worst, hazard_table, judge, table
from tests.film_second.pictures import TIERS, draw
from tethercap.pictures import F64Array

ORDER = ("easy", "typical", "hard", "hard", "impossible", "typical")
"""Tiers in turn, as the other drawing has them."""


def as_case(seed: int, tier: str | None) -> Case:
    """Draw the picture of a seed and put it in the words of the judging functions."""
    drawn = draw(seed, tier)
    c = drawn.corners
    view = (np.array(drawn.pixels.shape[1::-1]) - 1) / 2
    off = (c.mean(axis=0) - view) * drawn.mm_per_px
    top, right, bottom, left = drawn.shares
    return Case(
        seed, drawn.tier, drawn.hazards, drawn.pixels, b"", c, (top, right, bottom, left), drawn.kind.value,
        drawn.film_format.id, drawn.mm_per_px, _tilt_deg(c), (float(off[0]), float(off[1])),
    )  # fmt: skip


def _tilt_deg(corners: F64Array) -> float:
    """Mean turn of the two edges along the film, clockwise positive."""
    tl, tr, br, bl = corners
    return float(np.degrees([np.arctan2(*(tr - tl)[::-1]), np.arctan2(*(br - bl)[::-1])]).mean())


def judge_seed(seed: int, tier: str | None, unknown: str = "") -> Judged:
    """Draw, answer and compare one picture."""
    cv2.setNumThreads(1)
    return judge(
        as_case(seed, tier), knows_kind="k" not in unknown, knows_format="f" not in unknown,
        knows_scale="s" not in unknown,
    )  # fmt: skip


def judged_many(seeds: range, unknown: str, workers: int, tier: str | None = None) -> Iterator[Judged]:
    """Judge pictures of tiers in turn (or of one tier), in several processes."""
    tiers = [tier or ORDER[seed % len(ORDER)] for seed in seeds]
    if workers == 1:
        yield from map(judge_seed, seeds, tiers, [unknown] * len(seeds))
        return
    with ProcessPoolExecutor(workers) as pool:
        for one in pool.map(judge_seed, seeds, tiers, [unknown] * len(seeds), chunksize=4):
            yield replace(one)


def failures(judged: list[Judged]) -> str:
    """One line for each picture that went wrong, to draw it again by its seed."""
    lines = []
    for j in judged:
        wrong = j.answered if j.case.tier == "impossible" else not j.right
        if wrong:
            what = "gross" if j.gross else ("off" if j.answered else "cannot tell")
            said = ", ".join(reason.text for reason in j.sighting.verdict.reasons)
            hazards = ", ".join(j.case.hazards)
            lines.append(f"{j.case.seed} {j.case.tier} {j.case.format_id} {j.case.kind} [{hazards}] {what} ({said})")
    return "\n".join(lines)


def main(arguments: list[str]) -> None:
    """Draw, answer, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=200)
    parser.add_argument("--seed", type=int, default=FIRST_JUDGED_SEED)
    parser.add_argument("--tier", choices=TIERS, help="only this tier")
    parser.add_argument("--unknown", default="", help="what is not told, of k(ind), f(ormat), s(cale); e.g. ks")
    parser.add_argument("--workers", type=int, default=1, choices=range(1, (os.cpu_count() or 1) + 1))
    parser.add_argument("--worst", type=Path, help="folder for pictures of the twenty worst")
    parser.add_argument("--failures", action="store_true", help="list what went wrong by seed")
    chosen = parser.parse_args(arguments)
    seeds = range(chosen.seed, chosen.seed + chosen.n)
    judged = list(judged_many(seeds, chosen.unknown, chosen.workers, chosen.tier))
    print(table(judged), hazard_table(judged), sep="\n\n")
    print(f"\nmedian {1e3 * float(np.median([j.seconds for j in judged])):.0f} ms a picture")
    if chosen.failures:
        print("", failures(judged), sep="\n")
    if chosen.worst is not None:
        draw_worst(judged, chosen.worst, 20)


if __name__ == "__main__":
    main(sys.argv[1:])
