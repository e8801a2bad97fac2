"""How hands pull film: where a strip lies at every moment, sampled a thousand times a second."""

from dataclasses import dataclass, field

import numpy as np

from tests.film_second.scenes import Rng
from tethercap.pictures import F64Array

SAMPLES_PER_S = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """One person's way with film. Ranges are drawn from anew at every frame."""

    name: str
    advance_s: tuple[float, float] = (0.5, 1.0)
    overshoot_mm: float = 0.6
    """Standard deviation of where the first move ends."""
    corrections: tuple[int, int] = (1, 3)
    correction_s: tuple[float, float] = (0.2, 0.4)
    pause_s: tuple[float, float] = (0.0, 0.12)
    """At a turning point between two moves."""
    roughness: float = 0.0
    """Unevenness of a move's speed, as a share."""
    tremble_mm: float = 0.0
    """While the film is held before it is let go; physiological tremor, 8 to 12 Hz."""
    tremble_s: tuple[float, float] = (0.0, 0.0)
    drift_mm: float = 0.0
    """How far the film creeps after it was let go, standard deviation."""
    drift_s: float = 0.15
    """Time constant of the creep."""
    rest_s: tuple[float, float] = (0.7, 1.3)
    misplaces: float = 0.1
    """How often a frame is left lying out of limits for a moment, and then put right."""


HANDS = (
    Hand(name="plain"),
    Hand(
        name="fast", advance_s=(0.22, 0.45), overshoot_mm=1.5, correction_s=(0.12, 0.22), pause_s=(0, 0.05),
        rest_s=(0.5, 0.8),
    ),
    Hand(name="slow", advance_s=(1.4, 2.4), overshoot_mm=0.3, corrections=(0, 2), correction_s=(0.5, 0.9)),
    Hand(name="jittery", roughness=0.5, overshoot_mm=1.0, corrections=(2, 4), tremble_mm=0.02, tremble_s=(0.1, 0.4)),
    Hand(name="overshooting", overshoot_mm=4.0, corrections=(2, 4), pause_s=(0.03, 0.25)),
    Hand(name="trembling", tremble_mm=0.05, tremble_s=(0.3, 0.9)),
    Hand(name="drifting", drift_mm=0.25, drift_s=0.12),
    Hand(name="curling", drift_mm=0.35, drift_s=0.6, rest_s=(1.6, 2.6)),
)  # fmt: skip


@dataclass(slots=True, eq=False)
class Path:
    """Where a strip lies: its coordinate in the holder's middle is minus `along_mm`."""

    along_mm: list[F64Array] = field(default_factory=list)
    last_mm: float = 0.0
    samples: int = 0

    def add(self, along_mm: F64Array) -> None:
        """Go on with these samples."""
        self.along_mm.append(along_mm)
        self.samples += along_mm.size
        self.last_mm = float(along_mm[-1])

    def move(self, rng: Rng, to_mm: float, seconds: float, roughness: float = 0.0) -> None:
        """Move with least jerk (Flash and Hogan, 1985), more or less evenly."""
        count = max(8, round(seconds * SAMPLES_PER_S))
        u = np.linspace(0, 1, count + 1)[1:]
        if roughness:
            wild = sum(rng.normal() * np.sin(2 * np.pi * (k * u + rng.random())) for k in range(2, 7))
            pace = np.maximum(1 + roughness * np.asarray(wild) / 2, 0.05)
            u = np.cumsum(pace) / pace.sum()
        self.add(self.last_mm + (to_mm - self.last_mm) * u**3 * (10 - 15 * u + 6 * u * u))

    def stay(self, seconds: float) -> None:
        """Lie still."""
        self.add(np.full(max(1, round(seconds * SAMPLES_PER_S)), self.last_mm))

    def tremble(self, rng: Rng, amplitude_mm: float, seconds: float) -> None:
        """Be held by a hand."""
        t = np.arange(max(1, round(seconds * SAMPLES_PER_S))) / SAMPLES_PER_S
        shake = sum(np.sin(2 * np.pi * (rng.uniform(8, 12) * t + rng.random())) for _ in range(2))
        fade = np.minimum(1, np.minimum(t, t[-1] - t) / 0.05)
        self.add(self.last_mm + amplitude_mm * fade * np.asarray(shake) / 2)

    def creep(self, by_mm: float, time_constant_s: float, seconds: float) -> None:
        """Creep on after being let go, slower and slower."""
        t = np.arange(1, round(seconds * SAMPLES_PER_S) + 1) / SAMPLES_PER_S
        rise = np.minimum(t / 0.02, 1.0)
        self.add(self.last_mm + by_mm * rise * (1 - np.exp(-t / time_constant_s)))


def seat(rng: Rng, hand: Hand, path: Path, stop_mm: float) -> list[tuple[float, float]]:
    """Bring a frame to its place and let it lie there.

    Parameters
    ----------
    stop_mm : float
        Where the strip must lie for the frame to be in the middle.

    Returns
    -------
    list of tuple
        From when to when nothing more is done to the film, s: it may still creep. Early ones may be out of limits.
    """
    stays = []
    aims = [float(rng.uniform(-0.2, 0.2))]
    if rng.random() < hand.misplaces:
        aims.insert(0, float(rng.choice([-1, 1]) * rng.uniform(0.5, 3.0)))
    path.move(rng, stop_mm + float(rng.normal(0, hand.overshoot_mm)), rng.uniform(*hand.advance_s), hand.roughness)
    for aim in aims:
        for _ in range(int(rng.integers(*hand.corrections)) if hand.corrections[1] > hand.corrections[0] else 0):
            path.stay(rng.uniform(*hand.pause_s))
            path.move(rng, stop_mm + aim + float(rng.normal(0, 0.4)), rng.uniform(*hand.correction_s), hand.roughness)
        creep_mm = float(np.clip(rng.normal(0, hand.drift_mm), -0.6, 0.6)) if hand.drift_mm else 0.0
        path.stay(rng.uniform(*hand.pause_s))
        path.move(rng, stop_mm + aim - creep_mm, rng.uniform(*hand.correction_s), hand.roughness)
        if hand.tremble_mm:
            path.tremble(rng, hand.tremble_mm, rng.uniform(*hand.tremble_s))
        start, seconds = path.samples, rng.uniform(*hand.rest_s)
        if creep_mm:
            path.creep(creep_mm, hand.drift_s, seconds)
        else:
            path.stay(seconds)
        stays.append((start / SAMPLES_PER_S, path.samples / SAMPLES_PER_S))
    return stays
