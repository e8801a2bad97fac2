"""How well frames are found in drawn pictures, by tier and by hazard: `python -m tests.film_pictures.score`."""

import argparse
import collections
import os
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from tests.film_pictures import cases
from tests.film_pictures.cases import TIERS, Case
from tests.film_pictures.third_hand import stills
from tethercap.film.kinds import FilmKind
from tethercap.profile_files import load_film_format, load_film_formats
from tethercap.watch.sighting import Decision, Sighting
from tethercap.watch.still import inspect_still

FIRST_JUDGED_SEED = 500_000
"""Seeds below were used to fit the confidence; none of them is judged."""

TURN = ("easy", "typical", "hard", "hard", "impossible", "typical")
"""Tiers in turn."""

DRAWINGS: dict[str, Callable[[int, str], Case]] = {"first": cases.make_case, "third": stills.make_case}
"""Two drawings that share only the shape of a case."""


@dataclass(frozen=True, eq=False)
class Judged:
    """One picture, answered and compared with the truth."""

    case: Case
    sighting: Sighting
    answered: bool
    right: bool
    """Every edge that can be seen is within 1 % of the width."""
    gross: bool
    """Some edge that can be seen is off by more than 5 %, or an answer was given where there is none."""
    corner_share: npt.NDArray[np.float64]
    """Error of the corners whose two edges can be seen, as shares of the width."""
    tilt_off_deg: float
    seconds: float


def side_errors(found: npt.NDArray[np.float64], truth: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Largest distance of each found edge from the true one, as a share of the width: top, right, bottom, left."""
    width = np.hypot(*(truth[1] - truth[0]))
    errors = []
    for side in range(4):
        start, end = truth[side], truth[(side + 1) % 4]
        along = (end - start) / np.hypot(*(end - start))
        normal = np.array([-along[1], along[0]])
        errors.append(max(abs((found[side] - start) @ normal), abs((found[(side + 1) % 4] - end) @ normal)) / width)
    return np.array(errors)


def judge(case: Case, *, knows_kind: bool = True, knows_format: bool = True, knows_scale: bool = True) -> Judged:
    """Answer one picture and compare."""
    rng = np.random.default_rng(case.seed)
    started = time.perf_counter()
    sighting = inspect_still(
        case.picture,
        film_format=load_film_format(case.format_id) if knows_format else None,
        film_kind=FilmKind(case.kind) if knows_kind else None,
        mm_per_px=case.mm_per_px * (1 + float(np.clip(rng.normal(0, 0.005), -0.01, 0.01))) if knows_scale else None,
        formats=load_film_formats(),
    )
    seconds = time.perf_counter() - started
    answered = sighting.edges is not None and sighting.verdict.decision is not Decision.CANNOT_TELL
    nothing = np.array([])
    if not answered or sighting.edges is None or sighting.alignment is None:
        return Judged(case, sighting, False, False, False, nothing, float("nan"), seconds)
    if case.corners_px is None or case.tier == "impossible":
        return Judged(case, sighting, True, False, True, nothing, float("nan"), seconds)
    visible = np.array(case.visible)
    found = sighting.edges.corners.as_array()
    errors = side_errors(found, case.corners_px)
    both = visible & np.roll(visible, 1)
    width = np.hypot(*(case.corners_px[1] - case.corners_px[0]))
    corners = (np.hypot(*(found - case.corners_px).T) / width)[both]
    tilt_off = abs(sighting.alignment.tilt_deg - case.tilt_deg)
    right, gross = bool((errors[visible] <= 0.01).all()), bool((errors[visible] > 0.05).any())
    return Judged(case, sighting, True, right, gross, corners, tilt_off, seconds)


def _percentile(values: npt.ArrayLike, share: float) -> float:
    finite = np.asarray(values, float)
    finite = finite[np.isfinite(finite)]
    return float(np.percentile(finite, share)) if finite.size else float("nan")


def table(judged: list[Judged]) -> str:
    """By tier, in the words of the bars."""
    lines = [
        "| tier | n | answered and right | gross | cannot tell | corner median / p95, % of width "
        "| tilt p95, deg | accepted wrongly |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for tier in (*TIERS, "open"):
        of_tier = [j for j in judged if j.case.tier == tier]
        if not of_tier:
            continue
        right, gross = np.mean([j.right for j in of_tier]), np.mean([j.gross for j in of_tier])
        untold = np.mean([not j.answered for j in of_tier])
        corners = np.concatenate([j.corner_share for j in of_tier]) * 100
        tilt = _percentile([j.tilt_off_deg for j in of_tier], 95)
        wrong = sum(j.sighting.verdict.decision is Decision.ACCEPT and not j.right for j in of_tier)
        lines.append(
            f"| {tier} | {len(of_tier)} | {right:.1%} | {gross:.1%} | {untold:.1%} "
            f"| {_percentile(corners, 50):.2f} / {_percentile(corners, 95):.2f} | {tilt:.3f} | {wrong} |"
        )
    return "\n".join(lines)


def hazard_table(judged: list[Judged]) -> str:
    """By hazard: how many were right (of the impossible: how many were not answered)."""
    counts: dict[str, list[int]] = collections.defaultdict(lambda: [0, 0, 0])
    for j in judged:
        for hazard in j.case.hazards if j.case.tier != "open" else ():
            row = counts[f"{hazard}{' (impossible)' if j.case.tier == 'impossible' else ''}"]
            row[0] += 1
            row[1] += (not j.answered) if j.case.tier == "impossible" else j.right
            row[2] += j.gross
    lines = ["| hazard | n | right | gross |", "|---|---|---|---|"]
    lines.extend(f"| {name} | {n} | {right} | {gross} |" for name, (n, right, gross) in sorted(counts.items()))
    return "\n".join(lines)


def draw_worst(judged: list[Judged], folder: Path, count: int) -> None:
    """Write the worst answers as pictures: the truth green, what was found red."""
    folder.mkdir(parents=True, exist_ok=True)

    def badness(j: Judged) -> float:
        if not j.answered:
            return 0.02 if j.case.tier in {"easy", "typical", "hard"} else 0.0
        if j.case.corners_px is None or j.sighting.edges is None or j.case.tier == "impossible":
            return 1.0
        errors = side_errors(j.sighting.edges.corners.as_array(), j.case.corners_px)
        return float(errors[np.array(j.case.visible)].max(initial=0.0))

    for rank, j in enumerate(sorted(judged, key=badness, reverse=True)[:count]):
        picture = j.case.picture.copy()
        thick = max(1, picture.shape[1] // 500)
        for corners, colour in (
            (j.case.corners_px, (0, 255, 0)),
            (None if j.sighting.edges is None else j.sighting.edges.corners.as_array(), (0, 0, 255)),
        ):
            if corners is not None:
                cv2.polylines(picture, [np.rint(corners * 16).astype(np.int32)], True, colour, thick, cv2.LINE_AA, 4)
        cv2.imwrite(str(folder / f"{rank:02d}_{j.case.tier}_{j.case.seed}_{'_'.join(j.case.hazards)}.png"), picture)


def judge_seed(drawing: str, seed: int, tier: str, unknown: str) -> Judged:
    """Draw, answer and compare one picture."""
    cv2.setNumThreads(1)
    return judge(
        DRAWINGS[drawing](seed, tier), knows_kind="k" not in unknown, knows_format="f" not in unknown,
        knows_scale="s" not in unknown,
    )  # fmt: skip


def judged_many(drawing: str, jobs: list[tuple[int, str]], unknown: str, workers: int) -> Iterator[Judged]:
    """Judge pictures of these seeds and tiers."""
    if workers == 1:
        yield from (judge_seed(drawing, seed, tier, unknown) for seed, tier in jobs)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(judge_seed, *zip(*((drawing, *job, unknown) for job in jobs), strict=True), chunksize=4)


def failures(judged: list[Judged]) -> str:
    """One line for each picture that went wrong, to draw it again by its seed."""
    lines = []
    for j in judged:
        if j.answered if j.case.tier == "impossible" else not j.right and j.case.tier != "open":
            what = "gross" if j.gross else ("off" if j.answered else "cannot tell")
            said = ", ".join(reason.text for reason in j.sighting.verdict.reasons)
            hazards = ", ".join(j.case.hazards)
            lines.append(
                f"{j.case.seed} {j.case.tier} {j.case.format_id} {j.case.kind} [{hazards}] {what} ({said}) "
                f"seen {np.round(j.case.seen_share, 2)}"
            )
    return "\n".join(lines)


def main(arguments: list[str]) -> None:
    """Draw, answer, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--drawing", choices=tuple(DRAWINGS), default="first")
    parser.add_argument("--n", type=int, default=400)
    parser.add_argument("--seed", type=int, default=FIRST_JUDGED_SEED)
    parser.add_argument("--unknown", default="", help="what is not told, of k(ind), f(ormat), s(cale); e.g. ks")
    parser.add_argument("--tier", choices=TIERS, help="all of one tier, instead of tiers in turn")
    parser.add_argument("--workers", type=int, default=1, choices=range(1, (os.cpu_count() or 1) + 1))
    parser.add_argument("--failures", action="store_true", help="list what went wrong by seed")
    parser.add_argument("--worst", type=int, default=20, help="so many of the worst answers are drawn, with --out")
    parser.add_argument("--out", type=Path, help="folder for the worst answers: the truth green, what was found red")
    chosen = parser.parse_args(arguments)
    jobs = [(chosen.seed + i, chosen.tier or TURN[i % len(TURN)]) for i in range(chosen.n)]
    judged = list(judged_many(chosen.drawing, jobs, chosen.unknown, chosen.workers))
    print(table(judged), hazard_table(judged), sep="\n\n")
    print(f"\nmedian {1e3 * float(np.median([j.seconds for j in judged])):.0f} ms a picture")
    if chosen.failures:
        print("", failures(judged), sep="\n")
    if chosen.out is not None:
        draw_worst(judged, chosen.out, chosen.worst)


if __name__ == "__main__":
    main(sys.argv[1:])
