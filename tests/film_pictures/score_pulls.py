"""How well frames are fired on while strips are pulled by hand: `python -m tests.film_pictures.score_pulls`.

Every roll is watched by the same watcher as a live view. It is drawn by one of three drawings that share nothing but
the judging.
"""

import argparse
import collections
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

import cv2
import numpy as np

from tests.film_pictures.sequences import Pull
from tests.film_pictures.third_hand.pulls import HAZARDS as THIRD_HAZARDS
from tests.film_pictures.third_hand.pulls import PulledRoll
from tests.film_second.pulls import HAZARDS, Place, RolledFilm, Stay
from tethercap.film.kinds import FilmKind
from tethercap.pictures import LiveFrame, U8Array
from tethercap.profile_files import load_film_format
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import ReasonCode, Sighting
from tethercap.watch.watcher import RAW_PX_PER_VIEW_PX, Watcher

FIRST_JUDGED_SEED = 500_000
LIMITS = Limits()
SURELY = 0.05
"""mm and degrees: a frame this far within the limits must be fired on; beyond them by as much, never."""
STEADY = 1.25
"""A shot is blurred when the film moves by more than so many times what is allowed."""
LEAST_REST_S = 0.3
"""A rest must last so long for a shot to be expected."""
SHUTTER_S = 1 / 60


@dataclass(frozen=True, slots=True)
class Roll:
    """What is watched, and what is true about it."""

    name: str
    hazard: str
    format_id: str
    kind: str
    mm_per_px: float
    pictures: Iterable[tuple[int, float, U8Array]]
    """Number, time in s, picture."""
    stays: Sequence[Stay]
    place_at: Callable[[float], Place]
    speed_at: Callable[[float], float]
    """mm/s, while the shutter would be open from a moment on."""


@dataclass(slots=True)
class Tally:
    """Counts over rolls of one hazard."""

    frames: int = 0
    """Frames that came to rest within limits and have something to see."""
    once: int = 0
    twice: int = 0
    missed: list[str] = field(default_factory=list)
    moving: list[str] = field(default_factory=list)
    misplaced: list[str] = field(default_factory=list)
    silent: list[str] = field(default_factory=list)
    """Fired on a frame that has nothing on it."""
    delays_s: list[float] = field(default_factory=list)
    blanks: int = 0
    blanks_placed: int = 0
    """Frames without an edge to be seen, at rest, that were shown where they lie, within 0.5 mm, and called inferred or
    blank."""
    nights: int = 0
    nights_fired: int = 0
    """Frames with a picture but no edge to be seen, and those of them fired on in their place."""
    pictures: int = 0

    def add(self, other: "Tally") -> None:
        """Add the counts of another roll."""
        for name in ("frames", "once", "twice", "blanks", "blanks_placed", "nights", "nights_fired", "pictures"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        for name in ("missed", "moving", "misplaced", "silent", "delays_s"):
            getattr(self, name).extend(getattr(other, name))


@dataclass(frozen=True, slots=True)
class _Fire:
    at_s: float
    place: Place
    moving_mm_s: float
    """Speed while the picture was taken or while the shutter would be open, the lesser: that a hand starts again a
    moment later cannot be known, and film that has stopped gives no blur."""


def first_drawing(seed: int, hazard: str) -> Roll:
    """A strip of tests/film_pictures."""
    rng = np.random.default_rng([seed, 5])
    kind = str(rng.choice(["colour-negative", "bw-negative", "slide"]))
    marked = (int(rng.integers(1, 5)),)
    pull = Pull(
        seed=seed, kind=kind, width=640, misplaced=(int(rng.integers(0, 6)),),
        blank=marked if hazard == "unexposed" else (),
        dark=(marked[0], min(marked[0] + 1, 5)) if hazard in {"night on some sides", "night after night"} else (),
        flicker=0.08 if hazard == "flicker" else 0.0, hunting=0.2 if hazard == "hunting exposure" else 0.0,
        dropped=0.12 if hazard == "dropped" else 0.0, repeated=0.12 if hazard == "repeated" else 0.0,
    )  # fmt: skip
    stays = [Stay((0, r.frame), r.from_s, r.to_s, "unexposed" if r.blank else "picture") for r in pull.rests]
    pictures = ((s.number, s.at_s, s.picture) for s in pull.shown())
    return Roll(
        f"first:{seed}", hazard, pull.format_id, kind, pull.mm_per_px, pictures, stays, pull.place_at, pull.speed_at
    )


def second_drawing(seed: int, hazard: str) -> Roll:
    """A roll of tests/film_second."""
    roll = RolledFilm(seed, hazard)
    pictures = ((s.number, s.at_s, s.picture) for s in roll.shown())
    assert roll.hand is not None
    name = f"second:{seed}:{roll.hand.name}"
    return Roll(
        name, hazard, "135-36x24", roll.kind.value, roll.mm_per_px, pictures, roll.stays, roll.place_at, roll.speed_at
    )


def third_drawing(seed: int, hazard: str) -> Roll:
    """A roll of tests/film_pictures/third_hand."""
    roll = PulledRoll(seed, hazard)
    pictures = ((s.number, s.at_s, s.picture) for s in roll.shown())
    return Roll(
        f"third:{seed}", hazard, roll.film_format.id, roll.kind.value, roll.mm_per_px, pictures, roll.stays,
        roll.place_at, roll.speed_at,
    )  # fmt: skip


DRAWINGS = {"first": first_drawing, "second": second_drawing, "third": third_drawing}
HAZARDS_OF = {"first": HAZARDS, "second": HAZARDS, "third": THIRD_HAZARDS}


def watch(roll: Roll) -> tuple[list[_Fire], list[Sighting]]:
    """Watch a roll as a capture does: kind and format are known, the scale is not; every shot counts as good."""
    watcher = Watcher(load_film_format(roll.format_id), film_kind=FilmKind(roll.kind), shutter_s=SHUTTER_S)
    fires, sightings = [], []
    for number, at_s, picture in roll.pictures:
        seen = watcher.watch(LiveFrame(picture, at_s, number))
        sightings.append(seen)
        if seen.ready:
            watcher.shot_taken(at_s)
            moving_mm_s = min(roll.speed_at(at_s - SHUTTER_S), roll.speed_at(at_s))
            fires.append(_Fire(at_s, roll.place_at(at_s), moving_mm_s))
    return fires, sightings


def _off(place: Place) -> float:
    """How much of what is allowed the place uses up."""
    return max(
        max(abs(place.x_mm), abs(place.y_mm)) - LIMITS.centring_mm, abs(place.tilt_deg) - LIMITS.tilt_deg
    )  # fmt: skip


def _rest(stay: Stay, roll: Roll, still_mm_s: float) -> float | None:
    """When the film truly lay still within limits for the rest of a stay, s; None when it never did for long."""
    times = np.arange(stay.from_s, stay.to_s - SHUTTER_S, 0.005)
    last_bad = max((i for i, t in enumerate(times) if roll.speed_at(float(t)) > still_mm_s), default=-1)
    if last_bad + 1 >= len(times) or stay.to_s - times[last_bad + 1] < LEAST_REST_S:
        return None
    rested = [roll.place_at(float(t)) for t in np.linspace(times[last_bad + 1], times[-1], 8)]
    if any(place.frame != stay.frame for place in rested):
        return None
    return float(times[last_bad + 1]) if max(map(_off, rested)) <= -SURELY else None


def judge(roll: Roll) -> Tally:
    """Watch one roll and compare with the truth."""
    fires, sightings = watch(roll)
    tally = Tally(pictures=len(sightings))
    still_mm_s = LIMITS.still_mm_s(SHUTTER_S, RAW_PX_PER_VIEW_PX / roll.mm_per_px)
    content = {stay.frame: stay.content for stay in roll.stays}
    for fire in fires:
        what = f"{roll.name} [{roll.hazard}] {fire.at_s:.2f} s, frame {fire.place.frame}, {fire.place.x_mm:+.2f} mm"
        if fire.place.frame is None or _off(fire.place) > SURELY:
            tally.misplaced.append(what)
        elif fire.moving_mm_s > STEADY * still_mm_s:
            tally.moving.append(f"{what}, {fire.moving_mm_s:.2f} mm/s")
        if fire.place.frame is not None and content.get(fire.place.frame) == "unexposed":
            tally.silent.append(what)
    rests = [(stay, _rest(stay, roll, still_mm_s)) for stay in roll.stays]
    for frame in dict.fromkeys(stay.frame for stay in roll.stays):
        count = sum(fire.place.frame == frame for fire in fires)
        if content[frame] == "unexposed":
            continue
        if content[frame] == "night":
            tally.nights += 1
            tally.nights_fired += count > 0
            tally.twice += count > 1
            continue
        begun = [(stay, since) for stay, since in rests if stay.frame == frame and since is not None]
        tally.twice += count > 1
        if not begun:
            continue
        tally.frames += 1
        tally.once += count == 1
        if count == 0:
            tally.missed.append(f"{roll.name} [{roll.hazard}] frame {frame}, at rest from {begun[0][1]:.2f} s")
        tally.delays_s.extend(
            fire.at_s - since
            for fire in fires
            for stay, since in begun
            if fire.place.frame == frame and stay.from_s <= fire.at_s <= stay.to_s
        )
    _count_blanks(roll, sightings, tally)
    return tally


def _count_blanks(roll: Roll, sightings: list[Sighting], tally: Tally) -> None:
    for stay in roll.stays:
        if stay.content == "picture":
            continue
        late = [s for s in sightings if stay.to_s - 0.2 <= s.taken_at_s < stay.to_s]
        if not late:
            continue
        tally.blanks += 1
        last, place = late[-1], roll.place_at(late[-1].taken_at_s)
        said = {reason.code for reason in last.verdict.reasons} & {ReasonCode.INFERRED, ReasonCode.BLANK_FRAME}
        placed = last.alignment is not None and abs(last.alignment.offset.x_mm - place.x_mm) < 0.5
        tally.blanks_placed += bool(said and placed)


def judge_seed(drawing: str, seed: int, hazard: str) -> tuple[str, Tally]:
    """Draw, watch and judge one roll."""
    cv2.setNumThreads(1)
    return hazard, judge(DRAWINGS[drawing](seed, hazard))


def _row(name: str, t: Tally) -> str:
    delays = np.array(t.delays_s or [np.nan]) * 1e3
    return (
        f"| {name} | {t.pictures} | {t.frames} | {t.once / max(t.frames, 1):.1%} | {t.twice} | {len(t.moving)} "
        f"| {len(t.misplaced)} | {np.median(delays):.0f} / {np.percentile(delays, 95):.0f} / {delays.max():.0f} "
        f"| {t.blanks_placed} of {t.blanks} | {t.nights_fired} of {t.nights} | {len(t.silent)} |"
    )


def table(by_hazard: dict[str, Tally]) -> str:
    """In the words of the bars."""
    lines = [
        "| hazard | pictures | frames at rest in limits | fired once | fired twice | on moving | on misplaced "
        "| delay median / p95 / max, ms | edgeless placed and said | edgeless pictures fired on | unexposed fired on |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    total = Tally()
    for name, tally in sorted(by_hazard.items()):
        lines.append(_row(name, tally))
        total.add(tally)
    return "\n".join([*lines, _row("all", total)])


def judged_many(
    drawings: Sequence[str], rolls: int, seed: int, hazard: str | None, workers: int
) -> Iterator[tuple[str, Tally]]:
    """Judge rolls of the drawings in turn, with one hazard or with those of the drawing in turn."""
    jobs = []
    for i in range(rolls):
        turn, which = divmod(i, len(drawings))
        hazards = [hazard] if hazard else HAZARDS_OF[drawings[which]]
        jobs.append((drawings[which], seed + i, hazards[turn % len(hazards)]))
    if workers == 1:
        yield from (judge_seed(*job) for job in jobs)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(judge_seed, *zip(*jobs, strict=True))


def main(arguments: list[str]) -> None:
    """Draw, watch, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rolls", type=int, default=16)
    parser.add_argument("--seed", type=int, default=FIRST_JUDGED_SEED)
    parser.add_argument("--drawing", choices=(*DRAWINGS, "all"), default="all")
    parser.add_argument("--hazard", choices=sorted({*HAZARDS, *THIRD_HAZARDS}), help="only this one")
    parser.add_argument("--workers", type=int, default=1, choices=range(1, (os.cpu_count() or 1) + 1))
    chosen = parser.parse_args(arguments)
    drawings = tuple(DRAWINGS) if chosen.drawing == "all" else (chosen.drawing,)
    by_hazard: dict[str, Tally] = collections.defaultdict(Tally)
    for hazard, tally in judged_many(drawings, chosen.rolls, chosen.seed, chosen.hazard, chosen.workers):
        by_hazard[hazard].add(tally)
    print(table(by_hazard))
    for title in ("missed", "moving", "misplaced", "silent"):
        for tally in by_hazard.values():
            for line in getattr(tally, title):
                print(f"{title}: {line}")


if __name__ == "__main__":
    main(sys.argv[1:])
