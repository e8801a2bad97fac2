"""Rolls pulled through the holder strip by strip, seen 30 times a second, with the truth at every moment."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from tests.film_second import scenes
from tests.film_second.camera import Camera, Moment, Pose, Rig
from tests.film_second.hands import HANDS, SAMPLES_PER_S, Hand, Path, seat
from tests.film_second.pictures import SEEN_SHARE, edge_shares
from tests.film_second.rigs import pick_rig
from tests.film_second.scenes import Rng
from tests.film_second.strip import Film, Frame, Opening, Stock, draw_film
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F32Array, F64Array, U8Array
from tethercap.profile_files import load_film_format

RATE = 30.0
HAZARDS = (
    "none", "unexposed", "night on some sides", "night after night", "fogged", "snow", "flicker", "hunting exposure",
    "dropped", "repeated", "cuts", "rolling shutter", "breathing", "vibration", "uneven gaps", "short strips",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Shown:
    """One live picture."""

    number: int
    """Counts picture times; dropped pictures leave gaps."""
    at_s: float
    picture: U8Array


@dataclass(frozen=True, slots=True)
class Place:
    """How the frame nearest the middle of the view lies at a moment, and how it moves."""

    frame: tuple[int, int] | None
    """Strip and number on it; None between strips."""
    x_mm: float
    y_mm: float
    tilt_deg: float
    speed_mm_s: float
    """Of the picture on the sensor, along the film, with everything that shakes."""


@dataclass(frozen=True, slots=True)
class Stay:
    """A time during which nobody moves the film; it may creep at first."""

    frame: tuple[int, int]
    from_s: float
    to_s: float
    content: str
    """`picture`, `night` (no edge to be seen) or `unexposed`."""


@dataclass(slots=True, eq=False)
class _Strip:
    film: Film
    contents: list[str]
    from_s: float
    to_s: float
    path_mm: F64Array
    across_mm: float
    turned_deg: float


@dataclass(eq=False)
class RolledFilm:
    """A roll of a few strips, pulled by one hand, with one hazard."""

    seed: int
    hazard: str = "none"
    hand: Hand | None = None
    strips: int = 2
    frames: int = 4
    size: tuple[int, int] | None = None
    stays: list[Stay] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._rng = rng = np.random.default_rng([self.seed, 77])
        self.film_format = load_film_format("135-36x24")
        self.kind = FilmKind(rng.choice(["colour-negative", "bw-negative", "slide"], p=[0.5, 0.3, 0.2]))
        self.hand = self.hand or HANDS[int(rng.integers(len(HANDS)))]
        stock = Stock.pick(rng, self.kind)
        self._stock = replace(stock, fog=float(rng.uniform(0.3, 0.8))) if self.hazard == "fogged" else stock
        self._rig = self._picked_rig()
        self._camera = Camera(self._rig)
        self.mm_per_px = 1 / self._rig.px_per_mm
        self.shutter_s = 1 / 60
        self._runs_left = bool(rng.random() < 0.7)
        self._strips: list[_Strip] = []
        self._hands_s: list[tuple[float, float]] = []
        self._duration_s = 0.4
        for number in range(self.strips):
            self._add_strip(number)
            self._hands_s.append((self._duration_s, self._duration_s + float(rng.uniform(0.2, 0.6))))
            self._duration_s += float(rng.uniform(0.7, 1.5))
        self._shakes = self._touches()

    def _picked_rig(self) -> Rig:
        rng = self._rng
        rig = pick_rig(rng, self.film_format, self._stock, "easy")
        width, height = self.size or ((640, 424), (640, 480), (720, 480))[int(rng.integers(3))]
        view_mm = max(self.film_format.along_mm, 24 * width / height) / rng.uniform(0.84, 0.95)
        rig = replace(
            rig, width=width, height=height, bars=(0, 0), view_mm=view_mm, turned_deg=float(rng.normal(0, 0.05)),
            shift_mm=(0.0, 0.0), keystone_deg=(0.0, 0.0), distortion=float(rng.uniform(-0.002, 0.003)),
            blur_px=float(rng.uniform(0.5, 1.0)), exposure_s=1 / 60, readout_s=0.004,
        )  # fmt: skip
        if self.hazard == "flicker":
            rig = replace(rig, flicker=float(rng.uniform(0.04, 0.15)), flicker_bands=float(rng.uniform(1, 5)))
        if self.hazard == "rolling shutter":
            rig = replace(rig, readout_s=float(rng.uniform(0.015, 0.03)))
        return rig

    def _contents(self) -> list[str]:
        rng, contents = self._rng, ["picture"] * self.frames
        first = int(rng.integers(1, max(2, self.frames - 1)))
        if self.hazard == "unexposed":
            contents[first] = "unexposed"
        if self.hazard == "night after night":
            contents[first] = contents[min(first + 1, self.frames - 1)] = "night"
        if self.hazard == "night on some sides":
            contents = ["night side" if rng.random() < 0.6 else "picture" for _ in contents]
        if self.hazard == "snow":
            contents = ["snow" if rng.random() < 0.6 else "picture" for _ in contents]
        return contents

    def _add_strip(self, number: int) -> None:
        rng, f, contents = self._rng, self.film_format, self._contents()
        spread = 0.35 if self.hazard == "uneven gaps" else 0.06
        along, across = f.along_mm + float(rng.uniform(-0.3, 0.4)), f.across_mm + float(rng.uniform(-0.2, 0.3))
        rounded, off = float(rng.uniform(0, 0.5)), float(rng.normal(0, 0.05))
        middles = [k * f.pitch_mm + float(rng.normal(0, spread)) for k in range(self.frames)]
        made: dict[str, Callable[[Rng, int, int], F32Array]] = {
            "unexposed": scenes.blank, "night": scenes.night, "night side": scenes.night_side, "snow": scenes.snow,
        }  # fmt: skip
        frames = []
        for middle, content in zip(middles, contents, strict=True):
            box = (middle - along / 2, off - across / 2, middle + along / 2, off + across / 2)
            scene = made.get(content) or scenes.DAYLIGHT[int(rng.integers(len(scenes.DAYLIGHT)))]
            frames.append(Frame(Opening.cut(rng, box, rounded, 0.01, 0.02), scene))
        short = self.hazard == "short strips"
        ends = (
            -along / 2 - (float(rng.uniform(0.5, 4)) if short else float(rng.uniform(2, 12))),
            middles[-1] + along / 2 + (float(rng.uniform(0.5, 4)) if short else float(rng.uniform(2, 12))),
        )
        film = draw_film(
            rng, f, self._stock, frames, ends, (ends[0] - 1, ends[1] + 1), min(1.1 * self._rig.px_per_mm, 22.0),
            penumbra_mm=0.04,
        )  # fmt: skip
        self._pull(number, film, middles, contents, ends)

    def _pull(
        self, number: int, film: Film, middles: list[float], contents: list[str], ends: tuple[float, float]
    ) -> None:
        rng, path, hand = self._rng, Path(), self.hand
        assert hand is not None
        away = self._rig.view_mm / 2 + 4
        # Pulled to the left, the strip comes in from the right with its first frame; to the right, with its last.
        order = list(range(self.frames)) if self._runs_left else list(range(self.frames))[::-1]
        path.last_mm = away - ends[0] if self._runs_left else -away - ends[1]
        begin_s = self._duration_s
        for k in order:
            for start, end in seat(rng, hand, path, -middles[k]):
                content = contents[k] if contents[k] == "unexposed" or self._shows_edges(film, k) else "night"
                content = "picture" if content not in {"unexposed", "night"} else content
                self.stays.append(Stay((number, k), begin_s + start, begin_s + end, content))
        path.move(rng, -away - ends[1] if self._runs_left else away - ends[0], float(rng.uniform(0.7, 1.2)))
        self._duration_s += path.samples / SAMPLES_PER_S
        tilt = float(rng.normal(0, 0.05))
        self._strips.append(
            _Strip(
                film,
                contents,
                begin_s,
                self._duration_s,
                np.concatenate(path.along_mm),
                float(rng.normal(0, 0.05)),
                tilt,
            )
        )

    def _shows_edges(self, film: Film, frame: int) -> bool:
        """Whether a long and a short edge can be seen when the frame lies in the middle."""
        o = film.frames[frame].opening
        pose = Pose(-(o.left + o.right) / 2)
        lit = self._camera.clean(film, pose)
        shares = edge_shares(film.frames[frame], self._camera, pose, Moment(), lit)
        top, right, bottom, left = (share >= SEEN_SHARE for share in shares)
        return (top or bottom) and (left or right)

    def _touches(self) -> list[tuple[float, float, float, float]]:
        """When the rig was knocked: time, amplitude in mm, frequency in Hz, decay time in s."""
        if self.hazard != "vibration":
            return []
        rng = self._rng
        return [
            (stay.from_s - float(rng.uniform(0, 0.2)), float(rng.uniform(0.02, 0.1)), float(rng.uniform(8, 25)), 0.12)
            for stay in self.stays
        ]

    def _shake_mm(self, at_s: float) -> float:
        total = 0.0
        for start, amplitude, hz, decay in self._shakes:
            if 0 <= at_s - start < 10 * decay:
                since = at_s - start
                total += amplitude * np.exp(-since / decay) * np.sin(2 * np.pi * hz * since)
        return float(total)

    def _strip_at(self, at_s: float) -> _Strip | None:
        return next((s for s in self._strips if s.from_s <= at_s < s.to_s), None)

    @staticmethod
    def _along(strip: _Strip, at_s: float) -> float:
        sample = min(max((at_s - strip.from_s) * SAMPLES_PER_S, 0.0), strip.path_mm.size - 1.001)
        whole = int(sample)
        before, after = strip.path_mm[whole : whole + 2]
        return float(before + (sample - whole) * (after - before))

    def _pose(self, strip: _Strip, at_s: float) -> Pose:
        half_s = self._rig.exposure_s / 2
        now, before = self._along(strip, at_s), self._along(strip, at_s - 2 * half_s)
        speed = (now - before) / (2 * half_s)
        return Pose((now + before) / 2, strip.across_mm, strip.turned_deg, speed)

    def _moment(self, number: int, at_s: float) -> Moment:
        moment = Moment(phase=number * 0.37, shake_mm=(-self._shake_mm(at_s), 0.0))
        if self.hazard == "hunting exposure":
            moment = replace(moment, gain=1 + 0.2 * float(np.sin(at_s * 2.6) * np.sin(at_s * 0.7)))
        if self.hazard == "breathing":
            moment = replace(moment, scale=1 + 0.003 * float(np.sin(at_s * 1.7)))
        hand = next((h for h in self._hands_s if h[0] <= at_s < h[1]), None)
        if hand is not None:
            reach = 0.9 - 0.7 * np.sin(np.pi * (at_s - hand[0]) / (hand[1] - hand[0]))
            moment = replace(moment, hand=(0.3, 0.75, float(reach)))
        return moment

    def shown(self) -> Iterator[Shown]:
        """Render the live pictures in order."""
        rng = np.random.default_rng([self.seed, 78])
        before: U8Array | None = None
        for number in range(int(self._duration_s * RATE)):
            at_s = number / RATE
            if self.hazard == "dropped" and rng.random() < 0.12:
                continue
            if before is not None and self.hazard == "repeated" and rng.random() < 0.12:
                yield Shown(number, at_s, before)
                continue
            strip, moment = self._strip_at(at_s), self._moment(number, at_s)
            pose = Pose() if strip is None else self._pose(strip, at_s)
            lit = self._camera.clean(None if strip is None else strip.film, pose, moment)
            if self.hazard == "cuts" and rng.random() < 0.01:
                lit = np.full_like(lit, 0.02)
            before = self._camera.shown(lit, rng, moment)
            yield Shown(number, at_s, before)

    def place_at(self, at_s: float) -> Place:
        """How the frame nearest the middle lies, as the picture taken then shows it, and how fast it moves."""
        strip = self._strip_at(at_s)
        if strip is None:
            return Place(None, np.inf, np.inf, np.inf, 0.0)
        pose, moment = self._pose(strip, at_s), self._moment(0, at_s)
        middles = [(f.opening.left + f.opening.right) / 2 for f in strip.film.frames]
        nearest = int(np.argmin([abs(m + pose.along_mm) for m in middles]))
        o = strip.film.frames[nearest].opening
        corners = np.array([[o.left, o.top], [o.right, o.top], [o.right, o.bottom], [o.left, o.bottom]])
        seen = self._camera.project(corners, pose, moment)
        off = (seen.mean(axis=0) - (np.array([self._rig.width, self._rig.height]) - 1) / 2) * self.mm_per_px
        along = seen[1] + seen[2] - seen[0] - seen[3]
        key = self._strips.index(strip), nearest
        return Place(
            key, float(off[0]), float(off[1]), float(np.degrees(np.arctan2(along[1], along[0]))), self.speed_at(at_s)
        )

    def speed_at(self, at_s: float) -> float:
        """Speed of the picture over the sensor while the shutter would be open from now on, mm/s."""
        strip = self._strip_at(at_s)
        if strip is None:
            return 0.0
        times = at_s + np.linspace(0, self.shutter_s, 5)
        places = [self._along(strip, t) + self._shake_mm(t) for t in times]
        return float((max(places) - min(places)) / self.shutter_s)
