"""A strip pulled through the holder by hand, seen 30 times a second: pictures in order, and when each frame came to
rest where."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
import numpy.typing as npt

from tests.film_pictures import camera
from tests.film_pictures.setups import SIZES, Setup, well_behaved
from tests.film_pictures.strip import FORMATS, Picture, draw_strip
from tests.film_second.pulls import Place

RATE = 30.0
EXPOSURE_S = 1 / 60


@dataclass(frozen=True)
class Rest:
    """A time during which the film lay still with a frame near the middle."""

    frame: int
    from_s: float
    to_s: float
    off_mm: float
    """Frame's middle from the view's, along the film; right positive."""
    blank: bool
    dark: bool


@dataclass(frozen=True)
class Shown:
    """One live picture."""

    number: int
    """Counts picture times; dropped pictures leave gaps."""
    at_s: float
    picture: npt.NDArray[np.uint8]
    along_mm: float
    """Truth: film's place in the view's middle."""


@dataclass(eq=False)
class Pull:
    """A whole strip pulled through."""

    seed: int
    kind: str = "colour-negative"
    format_id: str = "135-36x24"
    frames: int = 6
    width: int | None = None
    blank: tuple[int, ...] = ()
    dark: tuple[int, ...] = ()
    flicker: float = 0.0
    hunting: float = 0.0
    dropped: float = 0.0
    repeated: float = 0.0
    misplaced: tuple[int, ...] = ()
    """Frames first left lying out of limits, then corrected."""
    rests: list[Rest] = field(default_factory=list)
    mm_per_px: float = 0.0

    def __post_init__(self) -> None:
        self._rng = np.random.default_rng([self.seed, 99])
        film_format = next(f for f in FORMATS if f.id == self.format_id)
        self._setup = s = well_behaved(self._rng, film_format, self.kind)
        gate, pitch = s.strip.gate, film_format.pitch
        gate.tilt_deg *= 0.5
        lefts = np.arange(self.frames) * pitch - gate.along / 2 + np.cumsum(self._rng.normal(0, 0.12, self.frames))
        s.strip.pictures = [
            Picture(
                float(left), blank=k in self.blank, night=0.5 if k in self.dark else 0.0,
                scene="night_street" if k in self.dark else self._rng.choice(["coffee", "astronaut", "brick",
                "texture", "rocket", "grass"]),
            )
            for k, left in enumerate(lefts)
        ]  # fmt: skip
        s.strip.start_mm, s.strip.end_mm = -gate.along / 2 - 6.0, float(lefts[-1]) + gate.along + 7.0
        view = s.view
        view.width, view.height = (800, 532) if self.width is None else (self.width, self.width * 2 // 3)
        rim = 1.1
        view.px_per_mm = min(view.width / (gate.along * rim), view.height / (gate.across * rim))
        view.turn_deg, view.keystone, view.distortion, view.dust = float(self._rng.normal(0, 0.05)), (0.0, 0.0), 0.0, 2
        self.mm_per_px = 1 / view.px_per_mm
        self._centres = [p.left_mm + gate.along / 2 for p in s.strip.pictures]
        self._path = self._pulled()

    def _pulled(self) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Times and places of the film, piecewise; smooth moves between rests."""
        rng, times, places = self._rng, [0.0], [self._centres[0] - self._setup.strip.format.along * 1.2]

        def move(to: float, seconds: float) -> None:
            u = np.linspace(0, 1, max(4, int(seconds * 240)))[1:]
            ease = u**3 * (10 - 15 * u + 6 * u * u)
            start_s, start = times[-1], places[-1]
            times.extend((start_s + u * seconds).tolist())
            places.extend((start + ease * (to - start)).tolist())

        def rest(frame: int, seconds: float) -> None:
            off = self._centres[frame] - places[-1]
            self.rests.append(Rest(frame, times[-1], times[-1] + seconds, off, frame in self.blank, frame in self.dark))
            times.append(times[-1] + seconds)
            places.append(places[-1])

        for frame, centre in enumerate(self._centres):
            over = rng.normal(0, 1.2)
            move(centre + over, rng.uniform(0.5, 1.0))
            times.append(times[-1] + rng.uniform(0.0, 0.03))
            places.append(places[-1])
            if frame in self.misplaced:
                move(centre + rng.choice([-1, 1]) * rng.uniform(0.8, 3.0), 0.3)
                rest(frame, rng.uniform(0.4, 0.8))
            move(centre + rng.choice([-1, 1]) * rng.uniform(0.4, 1.0), rng.uniform(0.25, 0.5))
            move(centre + float(np.clip(rng.normal(0, 0.08), -0.18, 0.18)), rng.uniform(0.2, 0.4))
            rest(frame, rng.uniform(0.7, 1.2))
        move(self._setup.strip.end_mm + self._setup.strip.format.along, 1.2)
        times.append(times[-1] + 0.5)
        places.append(places[-1])
        return np.array(times), np.array(places)

    def place_at(self, at_s: float) -> Place:
        """How the frame nearest the middle lies along the film at a moment, and how fast it moves."""
        now = float(np.interp(at_s, *self._path))
        frame = int(np.argmin([abs(centre - now) for centre in self._centres]))
        off = self._centres[frame] - now
        beyond = abs(off) > self._setup.strip.format.pitch
        return Place(None if beyond else (0, frame), off, 0.0, 0.0, self.speed_at(at_s))

    def speed_at(self, at_s: float) -> float:
        """Speed while a shutter is open from a moment on, mm/s."""
        now, later = (float(np.interp(t, *self._path)) for t in (at_s, at_s + EXPOSURE_S))
        return abs(later - now) / EXPOSURE_S

    def shown(self) -> Iterator[Shown]:
        """Render the live pictures in order."""
        view, strip, rng = self._setup.view, self._setup.strip, self._rng
        reach, scale = view.width / view.px_per_mm / 2 + 3, min(view.px_per_mm * 1.1, 30.0)
        left = float(self._path[1].min()) - reach
        film, ys = draw_strip(strip, rng, left, float(self._path[1].max()) + reach, scale)
        film = np.asarray(cv2.GaussianBlur(film, (0, 0), 0.5), np.float32)
        top = float(ys[0]) - 0.5 / scale
        back = np.linalg.inv(camera.homography(view, 0.0, 0.0))
        y, x = np.mgrid[0 : view.height, 0 : view.width].astype(np.float64)
        mm = np.stack([x, y, np.ones_like(x)], axis=-1) @ back.T
        map_x = ((mm[..., 0] / mm[..., 2] - left) * scale - 0.5).astype(np.float32)
        map_y = ((mm[..., 1] / mm[..., 2] - top) * scale - 0.5).astype(np.float32)
        lamp, cover = camera._lamp(view, rng)[..., None], camera._holder_cover(view, rng)[..., None]
        reflected = view.holder.level if view.holder is not None else 0.0
        dirt = camera._spoil(view, np.ones((view.height, view.width, 3), np.float32), rng)
        rows = np.linspace(-1, 1, view.height, dtype=np.float32)[:, None, None]
        before: npt.NDArray[np.uint8] | None = None
        for number in range(int(self._path[0][-1] * RATE)):
            at_s = number / RATE
            if rng.random() < self.dropped:
                continue
            place, earlier = (float(np.interp(t, *self._path)) for t in (at_s, at_s - EXPOSURE_S))
            if before is not None and rng.random() < self.repeated:
                yield Shown(number, at_s, before, place)
                continue
            mid = np.float32((place + earlier) / 2 * scale)
            light = cv2.remap(
                film, map_x + mid, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=(1.0, 1.0, 1.0)
            )
            light = np.asarray(light, np.float32) * lamp * dirt
            smear = abs(place - earlier) * view.px_per_mm
            if smear > 1:
                light = np.asarray(cv2.blur(light, (round(smear), 1)), np.float32)
            light = light * (1 - cover) + reflected * cover
            light = light * (1 + np.float32(self.flicker) * np.sin(rows * 9 + np.float32(number * 2.1)))
            light = np.asarray(light * np.float32(1 + self.hunting * np.sin(at_s * 3.0)), np.float32)
            picture = camera.develop(_without_dirt(view), np.asarray(light, np.float32), rng)
            data = camera.as_jpeg(view, picture)
            before = np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), np.uint8)
            yield Shown(number, at_s, before, place)


def _without_dirt(view: camera.View) -> camera.View:
    return replace(view, dust=0, hairs=0, prints=0, motion_px=0)


__all__ = ["RATE", "SIZES", "Pull", "Rest", "Setup", "Shown"]
