"""What lies on the table: strip, holder, panel, light where it should not be; drawn by difficulty."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from tests.film_pictures.third_hand import scenes
from tests.film_pictures.third_hand.emulsion import Stock, any_stock, density
from tests.film_pictures.third_hand.gate import MAKES, any_gate
from tests.film_pictures.third_hand.sensor import Sensor, any_sensor
from tests.film_pictures.third_hand.stand import FloatArray, Opening, Optics, Pose
from tests.film_pictures.third_hand.strip import Exposure, Leak, Strip
from tests.film_pictures.third_hand.wear import KINDS
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.pictures import F32Array, F64Array

FORMATS = ("135-36x24", "135-18x24", "135-65x24", "120-6x4.5", "120-6x6", "120-6x7", "120-6x9")
FORMAT_SHARES = (0.5, 0.1, 0.05, 0.08, 0.11, 0.09, 0.07)
SIZES_PX = ((640, 424), (720, 480), (960, 640), (1024, 680), (1280, 720), (1280, 853), (1920, 1280))
FILM_HAZARDS = (
    "light leak", "fogged film", "touching frames", "overlapping frames", "unexposed neighbour", "strip end",
    "ragged gate", "bowed gate", "filed gate", "thin", "dense",
)  # fmt: skip
RIG_HAZARDS = (
    "defocus", "keystone", "distortion", "vignetting", "uneven panel", "flare", "glare", "flicker", "noise",
    "close holder", "no holder", "hands", "several frames", "larger than the view", "turned", "far off",
)  # fmt: skip
HOPELESS = ("unexposed", "dark", "covered", "fogged out", "far too close", "no film", "blurred away")


@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """Everything before the shutter opens."""

    strip: Strip
    stock: Stock
    frame: int
    """Number of the exposure that the truth is about."""
    pose: Pose
    opening: Opening | None
    optics: Optics
    sensor: Sensor
    finer: int
    """The picture is drawn so many times finer than the view."""
    worn: tuple[str, ...]
    hazards: tuple[str, ...]
    panel_bend: F64Array
    """Fall of the panel's light along x, y and with the distance from a middle."""
    flare: float
    """Share of all light that is spread over everything."""
    glare: F64Array
    """Spots of light thrown back by the film: x, y, size in mm, strength; (n, 4)."""
    holder_light: float
    """What the holder throws back."""
    fingers: F64Array
    """Finger tips over the film: x, y, half width and half length in mm; (n, 4)."""
    flicker: tuple[float, float, float]


def clear_film(stock: Stock) -> F64Array:
    """Light through the clearest film that a person exposes for: the base, of a slide its lightest parts."""
    lightest = density(stock, np.full((1, 1, 3), 0.0 if stock.kind is not FilmKind.SLIDE else 1.0, np.float32))
    clear: F64Array = np.power(10.0, -lightest[0, 0].astype(float))
    return clear


def panel(scene: Setting, x_mm: FloatArray, y_mm: FloatArray) -> F32Array:
    """Light of the panel at points of the table."""
    reach = scene.optics.half_diagonal_px * scene.optics.mm_per_px
    x, y = x_mm / reach, y_mm / reach
    a, b, c, d = map(float, scene.panel_bend)
    return np.maximum(1 + a * x + b * y - c * ((x - a) ** 2 + (y - b) ** 2) + d * x * y, 0.1).astype(np.float32)


def hands(scene: Setting, x_mm: FloatArray, y_mm: FloatArray) -> F32Array:
    """Share of light that gets past finger tips."""
    free = np.ones(x_mm.shape, np.float32)
    for x, y, half_x, half_y in scene.fingers.tolist():
        inside = 1 - np.hypot((x_mm - x) / half_x, (y_mm - y) / half_y)
        free *= 1 - 0.97 * np.clip(0.5 + inside * half_x / 2.0, 0, 1).astype(np.float32)
    return free


def veil(scene: Setting, light: F32Array, x_mm: FloatArray, y_mm: FloatArray, local: F32Array) -> F32Array:
    """Light that comes on top: flare of the lens, spots thrown back by the film, the holder's own lightness."""
    spread = cv2.resize(light, (32, 24), interpolation=cv2.INTER_AREA)
    spread = cv2.GaussianBlur(spread, (0, 0), 8, borderType=cv2.BORDER_REPLICATE)
    total = scene.flare * cv2.resize(spread, light.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    for x, y, size, strength in scene.glare.tolist():
        spot = strength * np.exp(-((((x_mm - x) ** 2 + 0.5 * (y_mm - y) ** 2) / size**2) ** 2))
        total = total + spot.astype(np.float32)[:, :, None]
    total = total + scene.holder_light * np.clip(1 - local, 0, 1)[:, :, None]
    return total.astype(np.float32)


def _scene_for(rng: np.random.Generator, hard: bool) -> scenes.Scene:
    choice = scenes.DIFFICULT if hard and rng.random() < 0.6 else scenes.USUAL
    return choice[int(rng.integers(len(choice)))]


def _leaks(rng: np.random.Generator) -> tuple[Leak, ...]:
    return tuple(
        Leak(
            u_mm=float(rng.uniform(-25, 25)), width_mm=float(rng.uniform(1, 15)), reach_mm=float(rng.uniform(2, 15)),
            from_top=bool(rng.random() < 0.5), strength=float(rng.uniform(0.5, 8)),
        )
        for _ in range(int(rng.integers(1, 4)))
    )  # fmt: skip


def any_strip(
    rng: np.random.Generator,
    film_format: FilmFormat,
    stock: Stock,
    hazards: tuple[str, ...],
    hard: bool,
    count: int,
    middle: int,
) -> Strip:
    """Draw a strip of so many frames; the one in the middle lies at 0 mm.

    The camera winds on by the perforations with a little play, or by turns of its spool, which drifts.
    """
    make = next((m for m in MAKES if f"{m} gate" in hazards), MAKES[0])
    gate = any_gate(rng, film_format, make)
    gap = float(rng.uniform(1.0, 2.8)) * film_format.pitch_mm / 38.0
    if "touching frames" in hazards:
        gap = float(rng.uniform(0, 0.25))
    if "overlapping frames" in hazards:
        gap = -float(rng.uniform(0.3, 2.0))
    by_perforations = film_format.perforations is not None and not {"touching frames", "overlapping frames"} & set(
        hazards
    )
    pitch = film_format.pitch_mm if by_perforations else 2 * gate.half_along_mm + gap
    play = rng.normal(0, float(rng.uniform(0.02, 0.25)), count)
    steps = np.arange(count) * pitch + (play if by_perforations else np.cumsum(play))
    exposures = []
    for k in range(count):
        scene: scenes.Scene | None = _scene_for(rng, hard)
        if "unexposed neighbour" in hazards and k != middle and rng.random() < 0.7:
            scene = None
        over = rng.normal(0, 0.6) + (-2.5 if "thin" in hazards else 2.5 if "dense" in hazards else 0)
        exposures.append(Exposure(scene, float(steps[k] - steps[middle]), float(over), int(rng.integers(1 << 30))))
    if "unexposed" in hazards:
        exposures = [replace(e, scene=None) for e in exposures]
    if "dark" in hazards:
        exposures = [replace(e, scene=scenes.night, over_stops=-4.0) for e in exposures]
    before, after = rng.uniform(1.0, 30, 2)
    first, last = exposures[0].centre_mm - gate.half_along_mm, exposures[-1].centre_mm + gate.half_along_mm
    leaks = _leaks(rng) if "light leak" in hazards else ()
    lead = before * rng.uniform(0.2, 0.9) if "strip end" in hazards else 0.0
    fog = 10 ** rng.uniform(-2.0, -0.6) if "fogged film" in hazards else 30.0 if "fogged out" in hazards else 0.0
    return Strip(
        film_format, stock, gate, exposures, float(first - before), float(last + after), float(rng.uniform(0, 4.75)),
        float(rng.normal(0, 0.15)), fog=float(fog), leaks=leaks, edge_print=bool(rng.random() < 0.85),
        bar_code=bool(film_format.perforations and rng.random() < 0.5), seed=int(rng.integers(1 << 30)),
        lead_mm=float(lead),
    )  # fmt: skip


def _hazards(rng: np.random.Generator, tier: str) -> tuple[str, ...]:
    everything = (*FILM_HAZARDS, *RIG_HAZARDS, *KINDS)
    if tier == "easy":
        return ()
    if tier == "typical":
        mild = [
            h
            for h in everything
            if h not in {"overlapping frames", "larger than the view", "fogged film", "filed gate", "hands"}
        ]
        return tuple(map(str, rng.choice(mild, int(rng.integers(0, 3)), replace=False)))
    if tier == "hard":
        return tuple(map(str, rng.choice(everything, int(rng.integers(2, 5)), replace=False)))
    return (str(rng.choice(HOPELESS)), *map(str, rng.choice(everything, int(rng.integers(0, 2)), replace=False)))


def any_optics(rng: np.random.Generator, film_format: FilmFormat, hazards: tuple[str, ...], strong: float) -> Optics:
    """Draw a camera over the table; strong 0 to 1 scales what is wrong with it."""
    width, height = SIZES_PX[int(rng.choice(len(SIZES_PX), p=[0.25, 0.12, 0.18, 0.25, 0.08, 0.08, 0.04]))]
    bar_x, bar_y = 0, 0
    if rng.random() < 0.2:
        bar_x, bar_y = (
            (round(width * rng.uniform(0.03, 0.12)), 0)
            if rng.random() < 0.5
            else (0, round(height * rng.uniform(0.03, 0.12)))
        )
    share = rng.uniform(0.62, 0.92)
    if "several frames" in hazards:
        share = rng.uniform(0.3, 0.5)
    if "larger than the view" in hazards:
        share = rng.uniform(1.02, 1.15)
    if "far too close" in hazards:
        share = rng.uniform(2.0, 3.0)
    scale = max(
        film_format.along_mm / ((width - 2 * bar_x) * share), film_format.across_mm / ((height - 2 * bar_y) * share)
    )
    keystone = np.radians(1.0 if "keystone" in hazards else 0.15) * rng.uniform(-1, 1, 2)
    defocus = rng.uniform(0.08, 0.3) if "defocus" in hazards else rng.uniform(0, 0.05) * strong
    return Optics(
        width_px=width, height_px=height, bar_x_px=bar_x, bar_y_px=bar_y, mm_per_px=float(scale),
        roll_deg=float(rng.normal(0, 0.2)),
        keystone_x=float(keystone[0] / film_format.across_mm), keystone_y=float(keystone[1] / film_format.along_mm),
        distortion=float(rng.uniform(-0.02, 0.02) if "distortion" in hazards else rng.normal(0, 0.001)),
        curl=float(rng.uniform(0, 0.004) * strong), blur_mm=float(rng.uniform(0.012, 0.03) + 0.45 * scale),
        corner_blur=float(rng.uniform(1, 1 + strong)),
        defocus_mm=float(rng.uniform(1.0, 2.5) if "blurred away" in hazards else defocus),
        vignette=float(rng.uniform(0.2, 0.5) if "vignetting" in hazards else rng.uniform(0, 0.12)),
    )  # fmt: skip


def any_opening(rng: np.random.Generator, strip: Strip, pose: Pose, hazards: tuple[str, ...]) -> Opening | None:
    """Draw the holder: its hole larger than the frame, about as large, or smaller."""
    half_x, half_y = strip.gate.half_along_mm, strip.gate.half_across_mm
    turn, shift = rng.normal(0, 0.15), rng.normal(0, 0.2, 2)
    if "no holder" in hazards:
        return None
    if "covered" in hazards or "close holder" in hazards:
        wider = -rng.uniform(0.7, 2.5, 2) if "covered" in hazards else rng.uniform(0.15, 0.8, 2)
        return Opening(
            float(pose.x_mm + shift[0]), float(pose.y_mm + shift[1]),
            half_x_mm=float(half_x + wider[0]), half_y_mm=float(half_y + wider[1]),
            corner_mm=float(rng.uniform(0, 0.5)),
            turn_deg=float(turn), soft_mm=float(rng.uniform(0.05, 0.3)),
        )  # fmt: skip
    film_half = strip.film_format.strip_width_mm / 2
    tall = rng.choice([rng.uniform(half_y + 0.8, film_half), rng.uniform(film_half - 1.5, film_half + 3)])
    return Opening(
        float(rng.normal(0, 0.4)), float(rng.normal(0, 0.4)), half_x + float(rng.uniform(1.5, 12)),
        float(max(tall, half_y + 0.8)), corner_mm=float(rng.uniform(0, 2)), turn_deg=float(turn),
        soft_mm=float(rng.uniform(0.1, 0.6)),
    )  # fmt: skip


def _glare(rng: np.random.Generator, hazards: tuple[str, ...], half_w_mm: float, clear: float) -> F64Array:
    count = int(rng.integers(1, 3)) if "glare" in hazards else 0
    x, y = rng.uniform(-half_w_mm, half_w_mm, count), rng.uniform(-15, 15, count)
    return np.stack([x, y, rng.uniform(3, 12, count), clear * rng.uniform(0.02, 0.2, count)], axis=1)


def _fingers(rng: np.random.Generator, hazards: tuple[str, ...], half_w_mm: float) -> F64Array:
    count = int(rng.integers(1, 3)) if "hands" in hazards else 0
    x = rng.choice([-1, 1], count) * half_w_mm * rng.uniform(0.8, 1.1, count)
    return np.stack([x, rng.uniform(-14, 14, count), rng.uniform(5, 9, count), rng.uniform(6, 14, count)], axis=1)


def any_pose(rng: np.random.Generator, film_format: FilmFormat, hazards: tuple[str, ...], strong: float) -> Pose:
    """Draw how the film lies; its frame stays the one nearest to the middle of the view."""
    if "no film" in hazards:
        return Pose(400.0, 0.0, 0.0)
    far, room = 6.0 if "far off" in hazards else 3.0 * strong, 0.3 * film_format.pitch_mm
    turn = rng.uniform(-5, 5) if "turned" in hazards else rng.normal(0, 0.3 + 0.9 * strong)
    return Pose(float(np.clip(rng.uniform(-far, far), -room, room)), float(rng.uniform(-0.4, 0.4) * far), float(turn))


def any_setting(rng: np.random.Generator, tier: str, load_format: Callable[[str], FilmFormat]) -> Setting:
    """Draw what is photographed, for a tier."""
    hard, hazards = tier in {"hard", "impossible"}, _hazards(rng, tier)
    strong = {"easy": 0.2, "typical": 0.5}.get(tier, 1.0)
    film_format = load_format(str(rng.choice(FORMATS, p=FORMAT_SHARES)))
    kind = (FilmKind.COLOUR_NEGATIVE, FilmKind.BW_NEGATIVE, FilmKind.SLIDE)[int(rng.choice(3, p=[0.45, 0.35, 0.2]))]
    stock = any_stock(rng, kind)
    optics = any_optics(rng, film_format, hazards, strong)
    count = 7 if film_format.pitch_mm < 30 else 3
    frame = int(rng.choice([0, count - 1])) if "strip end" in hazards else count // 2
    strip = any_strip(rng, film_format, stock, hazards, hard, count, frame)
    pose = any_pose(rng, film_format, hazards, strong)
    opening = any_opening(rng, strip, pose, hazards)
    drawn = strip.exposures[frame].scene
    subject = () if drawn is None or drawn.__name__ in {"photograph", "landscape", "portrait"} else (drawn.__name__,)
    bend = rng.normal(0, 0.2 if "uneven panel" in hazards else 0.03, 4)
    bend[2] = abs(bend[2])
    half_w_mm = optics.width_px * optics.mm_per_px / 2
    depth = float(rng.uniform(0.03, 0.25)) if "flicker" in hazards else 0.0
    return Setting(
        strip=strip, stock=stock, frame=frame, pose=pose, opening=opening, optics=optics,
        sensor=any_sensor(rng, strong if "noise" in hazards else 0.3 * strong),
        finer=2 if optics.width_px <= 1024 else 1,
        worn=tuple(k for k in KINDS if k in hazards), hazards=(*hazards, *subject), panel_bend=bend,
        flare=float(rng.uniform(0.05, 0.2) if "flare" in hazards else rng.uniform(0, 0.03)),
        glare=_glare(rng, hazards, half_w_mm, float(clear_film(stock).max())),
        holder_light=float(rng.uniform(0.0005, 0.012)), fingers=_fingers(rng, hazards, half_w_mm),
        flicker=(depth, float(rng.uniform(0.5, 8)), float(rng.uniform(0, 6.28))),
    )  # fmt: skip
