"""A hand that pulls film: moves of least jerk that end short or long, corrections, creep, tremor, bumps.

Moves after Flash and Hogan (1985): position runs as 10 t^3 - 15 t^4 + 6 t^5. Tremor of 8 to 12 Hz while the film is
held; a holder that is touched swings at some 10 to 25 Hz and comes to rest within half a second (common practice, no
source).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from tethercap.pictures import F64Array

STEP_S = 0.001


@dataclass(frozen=True, slots=True)
class Habit:
    """How one person pulls."""

    pace_mm_s: float
    """Mean speed of a long move."""
    miss_share: float
    """Error of a move, as a share of its length."""
    content_mm: float
    """Corrections end when the frame is this near."""
    creep_mm: float
    """So far the film goes on after the hand has let go, dying away."""
    tremor_mm: float
    """Swing while the film is held."""
    rest_s: tuple[float, float]
    reaction_s: float
    """Between a move and its correction."""


def any_habit(rng: np.random.Generator) -> Habit:
    """Draw a person."""
    return Habit(
        pace_mm_s=float(rng.uniform(25, 90)), miss_share=float(rng.uniform(0.01, 0.05)),
        content_mm=float(rng.uniform(0.08, 0.22)), creep_mm=float(rng.choice([0.0, rng.uniform(0.02, 0.15)])),
        tremor_mm=float(rng.uniform(0.002, 0.02)), rest_s=(0.55, float(rng.uniform(0.8, 1.6))),
        reaction_s=float(rng.uniform(0.12, 0.3)),
    )  # fmt: skip


@dataclass(slots=True, eq=False)
class Course:
    """How film lies from moment to moment, every `STEP_S`; grows as the hand works."""

    x_mm: list[F64Array] = field(default_factory=list)
    y_mm: list[F64Array] = field(default_factory=list)
    turn_deg: list[F64Array] = field(default_factory=list)
    held: list[F64Array] = field(default_factory=list)
    """1 while fingers are on the film."""
    at: list[float] = field(default_factory=lambda: [0.0, 0.0, 0.0])
    """Where the film lies now: x, y, turn."""
    steps: int = 0

    @property
    def now_s(self) -> float:
        """Time so far."""
        return self.steps * STEP_S

    def add(self, x: F64Array, y: F64Array, turn: F64Array, *, held: bool) -> None:
        """Go on with these courses of x, y and turn."""
        self.x_mm.append(x)
        self.y_mm.append(y)
        self.turn_deg.append(turn)
        self.held.append(np.full(len(x), float(held)))
        self.at = [float(x[-1]), float(y[-1]), float(turn[-1])]
        self.steps += len(x)

    def move(self, to: Sequence[float], seconds: float, tremor_mm: float, rng: np.random.Generator) -> None:
        """Move to x, y, turn in one go."""
        n = max(2, round(seconds / STEP_S))
        t = np.arange(1, n + 1) / n
        done = 10 * t**3 - 15 * t**4 + 6 * t**5
        x, y, turn = (a + (b - a) * done for a, b in zip(self.at, to, strict=True))
        trembling = tremor(rng, n, tremor_mm) * np.minimum(1, 8 * np.minimum(t, 1 - t))
        self.add(x + trembling, y, turn, held=True)

    def stay(
        self,
        seconds: float,
        rng: np.random.Generator,
        *,
        held: bool = False,
        tremor_mm: float = 0.0,
        creep_mm: float = 0.0,
    ) -> None:
        """Lie there, held with a tremor or let go."""
        n = max(2, round(seconds / STEP_S))
        t = np.arange(1, n + 1) * STEP_S
        creep = creep_mm * (1 - np.exp(-t / 0.12))
        swing = tremor(rng, n, tremor_mm) * np.minimum(1, np.minimum(t, t[::-1]) / 0.05)
        still = np.zeros(n)
        self.add(self.at[0] + creep + swing, self.at[1] + still, self.at[2] + still, held=held)

    def bump(self, rng: np.random.Generator) -> None:
        """Somebody touches the holder: it swings and comes back nearly to where it was."""
        n = round(0.6 / STEP_S)
        t = np.arange(1, n + 1) * STEP_S
        ring = rng.uniform(0.05, 0.4) * np.exp(-t / 0.09) * np.sin(2 * np.pi * rng.uniform(10, 25) * t)
        left = rng.normal(0, 0.02) * (1 - np.exp(-t / 0.05))
        self.add(self.at[0] + ring + left, self.at[1] + 0.5 * ring, np.full(n, self.at[2]), held=False)


def tremor(rng: np.random.Generator, steps: int, swing_mm: float) -> F64Array:
    """Swing of a hand, some cycles of 8 to 12 Hz that come and go, mm."""
    t = np.arange(steps) * STEP_S
    waves = [np.sin(2 * np.pi * rng.uniform(8, 12) * t + rng.uniform(0, 6.3)) for _ in range(3)]
    swing: F64Array = swing_mm / 3 * np.sum(waves, axis=0)
    return swing


def pull_to(course: Course, habit: Habit, goal: tuple[float, float, float], rng: np.random.Generator) -> float:
    """Pull film to a place: one long move, then corrections until it lies well enough; gives the last one's end, s."""
    ended_s = course.now_s
    for attempt in range(5):
        way = goal[0] - course.at[0]
        if attempt and abs(way) <= habit.content_mm:
            return ended_s
        miss = rng.normal(0, habit.miss_share) * way + rng.normal(0, 0.03)
        share = 1.0 if attempt else rng.uniform(0.9, 1.0)
        to = (goal[0] + (1 - share) * way * 0.3 + miss, goal[1] + rng.normal(0, 0.02), goal[2] + rng.normal(0, 0.02))
        course.move(to, max(0.18, abs(way) / habit.pace_mm_s), habit.tremor_mm, rng)
        ended_s = course.now_s
        course.stay(habit.reaction_s, rng, held=True, tremor_mm=habit.tremor_mm)
    return ended_s
