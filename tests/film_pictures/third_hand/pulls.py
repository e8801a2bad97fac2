"""Strips pulled by hand through a holder in front of a live view, with what is true at every moment."""

import functools
from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tests.film_pictures.third_hand import hand, scenes, sensor, setting, stand, stills
from tests.film_pictures.third_hand.emulsion import any_stock
from tests.film_pictures.third_hand.strip import Raster, raster
from tests.film_second.pulls import Place, Shown, Stay
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F32Array, F64Array
from tethercap.profile_files import load_film_format

HAZARDS = (
    "none", "unexposed", "night", "night after night", "snow", "fogged film", "light leak", "flicker",
    "hunting exposure", "dropped", "repeated", "hands", "creep", "holder touched", "rolling shutter",
    "overlapping frames", "uneven panel", "misplaced", "short strips", "close holder",
)  # fmt: skip
FRAME_S = 1 / 30
SHUTTER_S = 1 / 60


@dataclass(frozen=True, slots=True, eq=False)
class _Laid:
    """One strip, the times it is in the holder, and how it lies then."""

    table: setting.Setting
    film: Raster
    """As sharp as the lens shows it."""
    lamp: F32Array
    """Light of the panel that gets through the empty holder to the sensor."""
    veil: F32Array
    """Light of the holder itself."""
    from_s: float
    to_s: float


class PulledRoll:
    """Some strips of a roll, pulled through one after the other; everything follows from seed and hazard."""

    def __init__(self, seed: int, hazard: str) -> None:
        """Draw the rig, the person, the strips, and pull them."""
        self.seed, self.hazard = seed, hazard
        rng = np.random.default_rng([self.seed, 99])
        kinds, formats = tuple(FilmKind), ("135-36x24", "135-18x24", "120-6x6", "120-6x4.5")
        self.kind = kinds[int(rng.choice(len(kinds)))]
        self.film_format = load_film_format(str(rng.choice(formats, p=[0.64, 0.12, 0.12, 0.12])))
        hazards = (self.hazard,)
        self.stock = any_stock(rng, self.kind)
        optics = setting.any_optics(rng, self.film_format, hazards, 0.4)
        self.optics = replace(optics, width_px=640, height_px=424, bar_x_px=0, bar_y_px=0)
        share = rng.uniform(0.66, 0.9)
        scale = max(self.film_format.along_mm / (640 * share), self.film_format.across_mm / (424 * share))
        self.optics = replace(self.optics, mm_per_px=float(scale), roll_deg=float(rng.normal(0, 0.05)))
        self.readout_s = float(rng.uniform(0.02, 0.033) if self.hazard == "rolling shutter" else rng.uniform(0, 0.015))
        self.habit = hand.any_habit(rng)
        if self.hazard == "creep":
            self.habit = replace(self.habit, creep_mm=float(rng.uniform(0.1, 0.4)))
        self.way = int(rng.choice([-1, 1]))
        self.bend = rng.normal(0, 0.2 if self.hazard == "uneven panel" else 0.03, 4)
        self.sensor = sensor.any_sensor(rng, 0.3)
        self.course, self.stays, self.laid = hand.Course(), list[Stay](), list[_Laid]()
        for number in range(2 if self.hazard == "short strips" else 1):
            self._pull_strip(rng, number)
        self.x_mm, self.y_mm = np.concatenate(self.course.x_mm), np.concatenate(self.course.y_mm)
        self.turn_deg, self.held = np.concatenate(self.course.turn_deg), np.concatenate(self.course.held)

    @property
    def mm_per_px(self) -> float:
        """Scale of the view."""
        return self.optics.mm_per_px

    def _strip(self, rng: np.random.Generator) -> setting.Setting:
        count = int(rng.integers(2, 4)) if self.hazard == "short strips" else int(rng.integers(4, 7))
        drawn = "unexposed neighbour" if self.hazard == "unexposed" else self.hazard
        strip = setting.any_strip(rng, self.film_format, self.stock, (drawn,), False, count, count // 2)
        exposures = list(strip.exposures)
        first = int(rng.integers(1, count))
        for k in range(count):
            e = exposures[k]
            if self.hazard == "unexposed":
                exposures[k] = replace(e, scene=None if k == first else e.scene or scenes.photograph)
            elif self.hazard == "snow" and rng.random() < 0.6:
                exposures[k] = replace(e, scene=scenes.snow)
            elif (self.hazard == "night" and k == first) or (
                self.hazard == "night after night" and k in {first, first + 1}
            ):
                exposures[k] = replace(e, scene=scenes.night, over_stops=-1.5)
        strip = replace(strip, exposures=exposures)
        pose = stand.Pose(0.0, 0.0, 0.0)
        opening = setting.any_opening(rng, strip, pose, (self.hazard,))
        depth = float(rng.uniform(0.04, 0.15)) if self.hazard == "flicker" else 0.0
        clear = float(setting.clear_film(self.stock).max())
        return setting.Setting(
            strip=strip, stock=self.stock, frame=count // 2, pose=pose, opening=opening, optics=self.optics,
            sensor=self.sensor, finer=1, worn=(), hazards=(self.hazard,), panel_bend=self.bend,
            flare=0.01, glare=np.zeros((0, 4)),
            holder_light=0.003 * clear, fingers=np.zeros((0, 4)),
            flicker=(depth, float(rng.uniform(0.5, 5)), 0.0),
        )  # fmt: skip

    def _pull_strip(self, rng: np.random.Generator, number: int) -> None:
        table, course, began = self._strip(rng), self.course, self.course.now_s
        strip, habit = table.strip, self.habit
        px_per_mm = 1.2 / self.optics.mm_per_px
        film = raster(strip, strip.from_mm - 2, strip.to_mm + 2, 1.0, px_per_mm)
        half_view = 320 * self.optics.mm_per_px
        outside = half_view + 5 - strip.from_mm if self.way < 0 else -half_view - 5 - strip.to_mm
        lies = (float(rng.normal(0, 0.08)), float(rng.normal(0, 0.08)))
        course.at = [outside, lies[0], lies[1]]
        course.stay(0.4, rng)
        order = range(len(strip.exposures)) if self.way < 0 else reversed(range(len(strip.exposures)))
        for k in order:
            middle = strip.corners_mm(k).mean(axis=0)
            goal = (-float(middle[0]), lies[0] - float(middle[1]), lies[1] - strip.gate.turn_deg)
            if rng.random() < (0.8 if self.hazard == "misplaced" else 0.15):
                off = rng.choice([-1, 1]) * rng.choice([rng.uniform(0.6, 3), rng.uniform(4, 15)])
                hand.pull_to(course, replace(habit, content_mm=0.3), (goal[0] + off, goal[1], goal[2]), rng)
                course.stay(rng.uniform(0.4, 1.5), rng)
            if rng.random() < (0.4 if self.hazard == "misplaced" else 0.06):
                turned = (
                    goal[0],
                    goal[1] + rng.uniform(0.5, 0.9),
                    goal[2] + rng.choice([-1, 1]) * rng.uniform(0.5, 1.2),
                )
                hand.pull_to(course, habit, turned, rng)
                course.stay(rng.uniform(0.5, 1.2), rng)
            from_s = hand.pull_to(course, habit, goal, rng)
            course.stay(rng.uniform(*habit.rest_s), rng, creep_mm=self.way * habit.creep_mm)
            if rng.random() < (0.7 if self.hazard == "holder touched" else 0.05):
                course.bump(rng)
                course.stay(0.6, rng)
            self.stays.append(Stay((number, k), from_s, course.now_s, self._content(table, film, k)))
        beyond = -half_view - 10 - strip.to_mm if self.way < 0 else half_view + 10 - strip.from_mm
        course.move((beyond, *lies), max(0.6, abs(beyond - course.at[0]) / habit.pace_mm_s), habit.tremor_mm, rng)
        course.stay(0.3, rng)
        x_mm, y_mm = self._grid
        lamp = setting.panel(table, x_mm, y_mm) * stand.opened(table.opening, x_mm, y_mm)
        lamp = stand.blurred(self.optics, lamp * stand.vignetting(self.optics, *stand.grid(self.optics, 1)), 1)
        veil = np.float32(table.holder_light) * np.clip(1 - lamp, 0, 1)[:, :, None]
        through = cv2.GaussianBlur(film.through, (0, 0), self.optics.blur_mm * px_per_mm)
        seen = replace(film, through=np.asarray(through, np.float32))
        self.laid.append(_Laid(table, seen, lamp, veil, began, course.now_s))

    def _content(self, table: setting.Setting, film: Raster, k: int) -> str:
        """What can be seen of a frame that lies in the middle."""
        if table.strip.exposures[k].scene is None:
            return "unexposed"
        middle = table.strip.corners_mm(k).mean(axis=0)
        there = replace(table, pose=stand.Pose(-float(middle[0]), -float(middle[1]), 0.0), frame=k)
        lit = stills.render(there, film, np.random.default_rng(self.seed))
        shares = stills.seen_shares(there, lit, film, table.strip, k)
        return "night" if stills.tier_of(shares, "typical") in {"impossible", "open"} else "picture"

    def _at(self, at_s: float | F64Array) -> tuple[F64Array, F64Array, F64Array]:
        times = (np.arange(len(self.x_mm)) + 1) * hand.STEP_S
        x, y, turn = (np.interp(at_s, times, values) for values in (self.x_mm, self.y_mm, self.turn_deg))
        return np.asarray(x), np.asarray(y), np.asarray(turn)

    def _laid_at(self, at_s: float) -> _Laid:
        return next((one for one in self.laid if at_s < one.to_s), self.laid[-1])

    def place_at(self, at_s: float) -> Place:
        """Say how the frame nearest to the middle of the view lies."""
        x, y, turn = map(float, self._at(at_s))
        laid = self._laid_at(at_s)
        strip, pose = laid.table.strip, stand.Pose(x, y, turn)
        nearest = min(range(len(strip.exposures)), key=lambda k: abs(strip.corners_mm(k)[:, 0].mean() + x))
        corners = stand.to_view(self.optics, pose, strip.corners_mm(nearest))
        off = (corners.mean(axis=0) - self.optics.middle_px) * self.mm_per_px
        top, bottom = corners[1] - corners[0], corners[2] - corners[3]
        tilt = np.degrees((np.arctan2(top[1], top[0]) + np.arctan2(bottom[1], bottom[0])) / 2)
        there = abs(off[0]) < 0.75 * self.film_format.pitch_mm
        number = self.laid.index(laid)
        return Place(
            (number, nearest) if there else None, float(off[0]), float(off[1]), float(tilt), self.speed_at(at_s)
        )

    def speed_at(self, at_s: float) -> float:
        """How fast the film moves while the shutter is open from a moment on, mm/s."""
        x, y, _ = self._at(at_s + np.linspace(0, SHUTTER_S, 9))
        return float(np.hypot(np.ptp(x), np.ptp(y))) / SHUTTER_S

    def shown(self) -> Iterator[Shown]:
        """Live pictures, 30 a second, but for those dropped; some come twice."""
        rng = np.random.default_rng([self.seed, 98])
        gain, last = 1.0, None
        made = self._exposed(rng)
        height, width = self.optics.height_px, self.optics.width_px
        noise = rng.standard_normal((height + 64, width + 64, 3), np.float32)
        for number in range(int(self.course.now_s / FRAME_S) - 1):
            at_s = number * FRAME_S
            if rng.random() < (0.12 if self.hazard == "dropped" else 0.003):
                continue
            if last is None or rng.random() >= (0.12 if self.hazard == "repeated" else 0.003):
                light = self._light(at_s)
                if self.hazard == "hunting exposure":
                    wanted = (0.25 / max(float((light * made.gain * made.balance).mean()), 0.02)) ** 0.6
                    gain += 0.2 * (wanted - gain)
                down, right = rng.integers(0, 64, 2)
                grain = noise[down : down + height, right : right + width]
                last = sensor.codes(made, sensor.gained(made, light) * np.float32(gain), grain)
            yield Shown(number, at_s, last)

    @functools.cached_property
    def _grid(self) -> tuple[F32Array, F32Array]:
        x, y = stand.to_table(self.optics, *stand.grid(self.optics, 1))
        return x.astype(np.float32), y.astype(np.float32)

    def _exposed(self, rng: np.random.Generator) -> sensor.Sensor:
        first = next(stay for stay in self.stays)
        light = self._light((first.from_s + first.to_s) / 2)
        within = stand.opened(self.laid[0].table.opening, *self._grid)
        return sensor.exposed_for(self.sensor, light, within, setting.clear_film(self.stock), rng)

    def _light(self, at_s: float) -> F32Array:
        """Light on the sensor, each line at its own moment."""
        x_mm, y_mm = self._grid
        laid = self._laid_at(at_s)
        lines_s = (
            at_s + SHUTTER_S / 2 + self.readout_s * (np.arange(self.optics.height_px) / self.optics.height_px - 0.5)
        )
        x, y, turn = self._at(lines_s)
        pose = stand.Pose(float(x.mean()), float(y.mean()), float(turn.mean()))
        dx, dy = (x - pose.x_mm).astype(np.float32)[:, None], (y - pose.y_mm).astype(np.float32)[:, None]
        through = stand.look_up(laid.film, *stand.to_film(self.optics, pose, x_mm - dx, y_mm - dy))
        blur_px = abs(float(self._at(at_s + SHUTTER_S)[0] - self._at(at_s)[0])) / self.mm_per_px
        if blur_px > 1:
            through = np.asarray(cv2.blur(through, (2 * round(blur_px / 2) + 1, 1)), np.float32)
        table = self._with_fingers(laid.table, at_s)
        lamp = laid.lamp * setting.hands(table, x_mm, y_mm) if len(table.fingers) else laid.lamp
        light = through * lamp[:, :, None] + laid.veil
        light += np.float32(table.flare) * light[::8, ::8].mean(axis=(0, 1))
        depth, periods, _ = table.flicker
        return light * sensor.flicker(self.optics.height_px, depth, periods, 2 * np.pi * at_s * 7.3)

    def _with_fingers(self, table: setting.Setting, at_s: float) -> setting.Setting:
        """Put a finger over the film at the side it is pulled to, while it is held."""
        held = float(np.interp(at_s, (np.arange(len(self.held)) + 1) * hand.STEP_S, self.held))
        if self.hazard != "hands" or held < 0.5:
            return table
        x, _, _ = self._at(at_s)
        reach = 320 * self.mm_per_px
        finger = (self.way * (reach + 1.5 + 2 * np.sin(float(x) / 9)), 5.0, 6.0, 11.0)
        return replace(table, fingers=np.array([finger]))
