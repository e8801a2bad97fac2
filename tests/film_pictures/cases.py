"""Random pictures of film by tier, each with its truth: corners, which edges can be seen, kind, scale, hazards."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from tests.film_pictures import camera
from tests.film_pictures.camera import Holder, View
from tests.film_pictures.strip import FORMATS, Format, Gate, Picture, Strip, draw_strip, frame_corners_mm

TIERS = ("easy", "typical", "hard", "impossible")
SIZES = ((640, 424), (800, 532), (960, 640), (1024, 680), (1024, 576), (1280, 848), (1616, 1080), (1920, 1280))
VISIBLE_STEP = 7.0
"""Codes between inside and outside from which on a piece of an edge can be seen."""
VISIBLE_SHARE = 0.25
"""Share of its length from which on an edge counts as one that can be seen."""
NOTHING_SHARE = 0.05
"""Share below which nothing of an edge can be seen."""


@dataclass(frozen=True, eq=False)
class Case:
    """One picture and the truth about it."""

    seed: int
    tier: str
    hazards: tuple[str, ...]
    picture: npt.NDArray[np.uint8]
    jpeg: bytes
    corners_px: npt.NDArray[np.float64] | None
    """Shape (4, 2), or None where there is no frame."""
    seen_share: tuple[float, float, float, float]
    """Share of each edge that can be seen: top, right, bottom, left."""
    kind: str
    format_id: str
    mm_per_px: float
    tilt_deg: float
    offset_mm: tuple[float, float]

    @property
    def visible(self) -> tuple[bool, ...]:
        """Which edges can be seen: top, right, bottom, left."""
        return tuple(share >= VISIBLE_SHARE for share in self.seen_share)


@dataclass
class Setup:
    """Everything that is rendered; hazards change it in place."""

    strip: Strip
    view: View
    index: int
    at_mm: tuple[float, float]


Hazard = Callable[[Setup, np.random.Generator], None]


def _setup(rng: np.random.Generator, film_format: Format, kind: str) -> Setup:
    """A well-behaved picture: whole frame, clear edges."""
    f = film_format
    gate = Gate(
        along=f.along + rng.uniform(-0.3, 0.5), across=f.across + rng.uniform(-0.25, 0.4), y_mm=rng.normal(0, 0.12),
        tilt_deg=rng.normal(0, 0.1), radius_mm=rng.uniform(0, 0.5), ragged_mm=rng.uniform(0, 0.02),
        soft_mm=rng.uniform(0.01, 0.08),
    )  # fmt: skip
    lefts = np.arange(-2, 3) * f.pitch - gate.along / 2 + rng.normal(0, 0.1, 5)
    strip = Strip(
        kind=kind, format=f, gate=gate, pictures=[Picture(float(left)) for left in lefts], start_mm=-3 * f.pitch,
        end_mm=3 * f.pitch,
        base=_base(rng, kind), gamma=float(rng.uniform(1.4, 2.0) if kind == "slide" else rng.uniform(0.5, 0.75)),
        top_density=float(rng.uniform(2.6, 3.5) if kind == "slide" else rng.uniform(1.7, 2.6)),
        hole_phase_mm=rng.uniform(0, 4.75),
        print_amount=rng.uniform(0.3, 1.2),
    )  # fmt: skip
    width, height = SIZES[rng.integers(len(SIZES))]
    rim = rng.uniform(1.03, 1.3)
    scale = min(width / (gate.along * rim), height / (gate.across * rim))
    view = View(
        width=width, height=height, px_per_mm=scale, turn_deg=rng.normal(0, 0.4), exposure=rng.uniform(0.75,
        1.25) * (1.0 if kind == "slide" else 1.5),
        curve=rng.uniform(1.8, 2.4), contrast=rng.uniform(0, 0.3), fall_off=rng.uniform(0, 0.2),
        uneven=rng.uniform(0, 0.04),
        noise=rng.uniform(0.3, 2.0), blur_px=rng.uniform(0.4, 1.2), quality=int(rng.integers(70, 96)),
        sharpen=rng.uniform(0, 0.6),
        dust=int(rng.integers(0, 6)),
    )  # fmt: skip
    view.holder = _holder(rng, strip, view)
    offset = rng.normal(0, 0.25 * (rim - 1) * gate.along, 2) * (1, 0.6)
    return Setup(strip, view, 2, (float(np.clip(offset[0], -2, 2)), float(np.clip(offset[1], -1, 1))))


def _base(rng: np.random.Generator, kind: str) -> tuple[float, float, float]:
    if kind == "colour-negative":
        return (rng.uniform(0.18, 0.32), rng.uniform(0.5, 0.8), rng.uniform(0.75, 1.1))
    level = rng.uniform(0.05, 0.2) if kind == "slide" else rng.uniform(0.18, 0.42)
    return (level, level + rng.uniform(-0.02, 0.02), level + rng.uniform(-0.02, 0.03))


def _holder(rng: np.random.Generator, strip: Strip, view: View) -> Holder:
    """An opening larger than the frame: with or without the perforations in sight."""
    f = strip.format
    shows_holes = rng.random() < 0.4
    height = f.width + rng.uniform(-1.5, 4) if shows_holes else min(f.width - 1, f.across + rng.uniform(1.2, 4))
    width = view.width / view.px_per_mm + 20 if rng.random() < 0.4 else f.along + rng.uniform(2.5, 9)
    return Holder(
        width_mm=width, height_mm=height, x_mm=rng.normal(0, 0.3), y_mm=rng.normal(0, 0.2), tilt_deg=rng.normal(0, 0.3),
        radius_mm=rng.uniform(0, 1.5), level=float(10 ** rng.uniform(-4, -2)), soft_mm=rng.uniform(0.03, 0.4),
    )  # fmt: skip


def _night(s: Setup, rng: np.random.Generator) -> None:
    p = s.strip.pictures[s.index]
    p.scene = str(rng.choice(["night_street", "texture", "portrait", "sky_and_ground"]))
    p.night = rng.uniform(0.15, 0.6)


def _snow(s: Setup, rng: np.random.Generator) -> None:
    s.strip.pictures[s.index].scene = "snow"


def _touching(s: Setup, rng: np.random.Generator) -> None:
    centre = s.strip.pictures[s.index].left_mm
    gap = rng.choice([0.0, rng.uniform(-0.6, 0), rng.uniform(0, 0.6)])
    for k, picture in enumerate(s.strip.pictures):
        picture.left_mm = centre + (k - s.index) * (s.strip.gate.along + gap)


def _wide_gap(s: Setup, rng: np.random.Generator) -> None:
    centre = s.strip.pictures[s.index].left_mm
    for k, picture in enumerate(s.strip.pictures):
        picture.left_mm = centre + (k - s.index) * (s.strip.gate.along + rng.uniform(1.0, 3.0))


def _gate(s: Setup, rng: np.random.Generator) -> None:
    gate = s.strip.gate
    gate.radius_mm = rng.uniform(0.3, 2.0)
    gate.ragged_mm = rng.uniform(0.02, 0.12)
    gate.bow_mm = rng.uniform(0, 0.2)


def _filed_gate(s: Setup, rng: np.random.Generator) -> None:
    gate = s.strip.gate
    gate.along += rng.uniform(0.3, 0.6)
    gate.across += rng.uniform(0.2, 0.5)
    gate.ragged_mm = rng.uniform(0.04, 0.1)
    gate.notches = 2


def _tight_opening(s: Setup, rng: np.random.Generator) -> None:
    """About as large as the frame: some edges hidden, some just in sight."""
    gate, holder = s.strip.gate, s.view.holder or Holder(0, 0)
    holder.width_mm = gate.along + rng.uniform(-0.6, 1.5)
    holder.height_mm = gate.across + rng.uniform(-0.4, 1.2)
    holder.x_mm, holder.y_mm = rng.normal(0, 0.5), rng.normal(0, 0.3)
    holder.rough_mm = rng.choice([0.0, 0.03])
    s.view.holder = holder


def _hidden_side(s: Setup, rng: np.random.Generator) -> None:
    """The opening's edge lies over one or two sides of the frame."""
    gate, holder = s.strip.gate, s.view.holder or Holder(0, 0)
    if rng.random() < 0.5:
        holder.width_mm = gate.along + 1.5
        holder.x_mm = rng.choice([-1, 1]) * rng.uniform(1.2, 3.0)
    else:
        holder.height_mm = gate.across + 1.0
        holder.y_mm = rng.choice([-1, 1]) * rng.uniform(0.8, 2.0)
    s.view.holder = holder


def _no_holder(s: Setup, rng: np.random.Generator) -> None:
    s.view.holder = None


def _horizon(s: Setup, rng: np.random.Generator) -> None:
    s.strip.pictures[s.index].scene = str(rng.choice(["sky_and_ground", "window", "stripes"]))


def _leak(s: Setup, rng: np.random.Generator) -> None:
    s.strip.leak = rng.uniform(0.2, 1.2)


def _dirt(s: Setup, rng: np.random.Generator) -> None:
    s.view.dust, s.view.hairs, s.view.prints = (
        int(rng.integers(20, 150)),
        int(rng.integers(0, 8)),
        int(rng.integers(0, 3)),
    )
    s.strip.scratches = int(rng.integers(0, 6))


def _uneven(s: Setup, rng: np.random.Generator) -> None:
    s.view.fall_off, s.view.uneven = rng.uniform(0.2, 0.6), rng.uniform(0.05, 0.12)


def _flicker(s: Setup, rng: np.random.Generator) -> None:
    s.view.flicker, s.view.flicker_phase = rng.uniform(0.05, 0.25), rng.uniform(0, 6.3)


def _glare(s: Setup, rng: np.random.Generator) -> None:
    s.view.glare, s.view.reflection = rng.uniform(0.01, 0.08), rng.uniform(0, 0.4)


def _noise(s: Setup, rng: np.random.Generator) -> None:
    s.view.noise, s.view.quality, s.view.sharpen = rng.uniform(3, 10), int(rng.integers(35, 70)), rng.uniform(0, 1.5)


def _over(s: Setup, rng: np.random.Generator) -> None:
    s.view.exposure *= rng.uniform(1.4, 2.5)


def _under(s: Setup, rng: np.random.Generator) -> None:
    s.view.exposure *= rng.uniform(0.12, 0.4)


def _defocus(s: Setup, rng: np.random.Generator) -> None:
    s.view.blur_px = rng.uniform(2, 6) * s.view.width / 1024


def _motion(s: Setup, rng: np.random.Generator) -> None:
    s.view.motion_px = rng.uniform(4, 20) * s.view.width / 1024


def _distortion(s: Setup, rng: np.random.Generator) -> None:
    s.view.distortion = rng.uniform(-0.012, 0.008)


def _tilt(s: Setup, rng: np.random.Generator) -> None:
    s.view.turn_deg = rng.choice([-1, 1]) * rng.uniform(1.0, 4.5)


def _keystone(s: Setup, rng: np.random.Generator) -> None:
    s.view.keystone = (rng.uniform(-1, 1), rng.uniform(-1, 1))


def _bars(s: Setup, rng: np.random.Generator) -> None:
    across = rng.random() < 0.5
    s.view.bars_px = (0, int(0.04 * s.view.height)) if across else (int(0.04 * s.view.width), 0)


def _several(s: Setup, rng: np.random.Generator) -> None:
    s.view.px_per_mm *= rng.uniform(0.35, 0.7)
    if s.view.holder is not None and rng.random() < 0.6:
        s.view.holder.width_mm = 10 * s.strip.format.pitch


def _larger_than_view(s: Setup, rng: np.random.Generator) -> None:
    s.view.px_per_mm *= rng.uniform(1.1, 1.5)
    gate = s.strip.gate
    half_w, half_h = s.view.width / s.view.px_per_mm / 2, s.view.height / s.view.px_per_mm / 2
    s.at_mm = (
        float(rng.choice([-1, 1]) * (gate.along / 2 - half_w + rng.uniform(0.8, 2.5))),
        float(rng.choice([-1, 1]) * max(0.0, gate.across / 2 - half_h + rng.uniform(0.4, 0.7))),
    )
    if s.view.holder is not None:
        s.view.holder.width_mm += 20
        s.view.holder.height_mm = max(s.view.holder.height_mm, gate.across + 2)


def _strip_end(s: Setup, rng: np.random.Generator) -> None:
    side = rng.choice([-1, 1])
    edge = side * (s.strip.gate.along / 2 + rng.uniform(1.0, 4.0))
    if side > 0:
        s.strip.end_mm = edge
    else:
        s.strip.start_mm = edge
    s.strip.pictures = s.strip.pictures[: s.index + 1] if side > 0 else s.strip.pictures[s.index :]
    s.index = len(s.strip.pictures) - 1 if side > 0 else 0


def _splice(s: Setup, rng: np.random.Generator) -> None:
    s.strip.splice_mm = rng.choice([-1, 1]) * (s.strip.gate.along / 2 + rng.uniform(-3, 3))


def _balanced_on_base(s: Setup, rng: np.random.Generator) -> None:
    light = 10.0 ** -np.array(s.strip.base)
    s.view.white_balance = tuple((light[1] / light) ** rng.uniform(0.5, 1.0))


def _blank_neighbours(s: Setup, rng: np.random.Generator) -> None:
    for k, picture in enumerate(s.strip.pictures):
        picture.blank = k != s.index and rng.random() < 0.7


def _faint(s: Setup, rng: np.random.Generator) -> None:
    """Thin, flat negatives or dark slides: all edges there, weak."""
    s.strip.gamma *= 0.6 if s.strip.kind != "slide" else 1.0
    s.strip.pictures[s.index].scene = str(rng.choice(["texture", "portrait", "fog"]))


def _bowed_film(s: Setup, rng: np.random.Generator) -> None:
    s.view.bow_mm = rng.uniform(0.02, 0.08)


def _line_skip(s: Setup, rng: np.random.Generator) -> None:
    s.view.line_skip = 2


HAZARDS: dict[str, Hazard] = {
    "night": _night, "snow": _snow, "touching": _touching, "wide_gap": _wide_gap, "gate": _gate,
    "filed_gate": _filed_gate,
    "tight_opening": _tight_opening, "hidden_side": _hidden_side, "no_holder": _no_holder, "horizon": _horizon,
    "leak": _leak, "dirt": _dirt,
    "uneven": _uneven, "flicker": _flicker, "glare": _glare, "noise": _noise, "over": _over, "under": _under,
    "defocus": _defocus,
    "motion": _motion, "distortion": _distortion, "tilt": _tilt, "keystone": _keystone, "bars": _bars,
    "several": _several,
    "larger_than_view": _larger_than_view, "strip_end": _strip_end, "splice": _splice,
    "balanced_on_base": _balanced_on_base,
    "blank_neighbours": _blank_neighbours, "faint": _faint, "bowed_film": _bowed_film, "line_skip": _line_skip,
}  # fmt: skip
TYPICAL = (
    "night",
    "snow",
    "tight_opening",
    "no_holder",
    "horizon",
    "wide_gap",
    "several",
    "strip_end",
    "blank_neighbours",
    "faint",
    "balanced_on_base",
)


def _unexposed(s: Setup, rng: np.random.Generator) -> None:
    for picture in s.strip.pictures:
        picture.blank = True


def _bare_light(s: Setup, rng: np.random.Generator) -> None:
    s.strip.start_mm, s.strip.end_mm, s.strip.pictures = 500.0, 600.0, []
    s.view.holder = None


def _empty_holder(s: Setup, rng: np.random.Generator) -> None:
    s.strip.start_mm, s.strip.end_mm, s.strip.pictures = 500.0, 600.0, []


def _inside_only(s: Setup, rng: np.random.Generator) -> None:
    s.view.px_per_mm *= rng.uniform(1.6, 2.5)
    s.view.holder = None
    s.at_mm = (0.0, 0.0)


def _opening_inside(s: Setup, rng: np.random.Generator) -> None:
    gate, holder = s.strip.gate, s.view.holder or Holder(0, 0)
    holder.width_mm, holder.height_mm = gate.along * rng.uniform(0.8, 0.93), gate.across * rng.uniform(0.8, 0.93)
    holder.x_mm, holder.y_mm, s.at_mm = 0.0, 0.0, (0.0, 0.0)
    s.view.holder = holder


def _fogged_through(s: Setup, rng: np.random.Generator) -> None:
    s.strip.fog = rng.uniform(2.0, 3.5)
    for picture in s.strip.pictures:
        picture.fogged = True
    if s.strip.kind == "slide":
        s.strip.top_density, s.strip.pictures = 0.0, []


def _bare_end(s: Setup, rng: np.random.Generator) -> None:
    """The strip's unexposed end, with no frame in sight."""
    s.strip.pictures = []
    s.strip.end_mm = rng.uniform(-5, 12)


IMPOSSIBLE: dict[str, Hazard] = {
    "unexposed": _unexposed, "bare_light": _bare_light, "empty_holder": _empty_holder, "inside_only": _inside_only,
    "opening_inside": _opening_inside, "fogged_through": _fogged_through, "bare_end": _bare_end,
}  # fmt: skip


def make_case(
    seed: int,
    tier: str,
    *,
    hazards: tuple[str, ...] | None = None,
    film_format: str | None = None,
    kind: str | None = None,
) -> Case:
    """Draw one picture.

    Parameters
    ----------
    seed : int
        Everything left open follows from it.
    tier : str
        One of `TIERS`. A picture whose edges turn out hidden is given the tier it deserves.
    hazards : tuple of str or None
        Names from `HAZARDS` or `IMPOSSIBLE`; None takes some that fit the tier.
    film_format, kind : str or None
        Fixed where given.
    """
    rng = np.random.default_rng([seed, TIERS.index(tier)])
    weights = np.array([0.5, 0.1, 0.06, 0.08, 0.1, 0.08, 0.08])
    chosen = next((f for f in FORMATS if f.id == film_format), FORMATS[rng.choice(len(FORMATS), p=weights)])
    kind = kind or str(rng.choice(["colour-negative", "bw-negative", "slide"], p=[0.5, 0.25, 0.25]))
    setup = _setup(rng, chosen, kind)
    names = _choose(rng, tier) if hazards is None else hazards
    for name in names:
        (HAZARDS | IMPOSSIBLE)[name](setup, rng)
    if setup.strip.pictures:
        # Hazards may move the view: the truth is about the frame nearest its middle.
        half = setup.strip.gate.along / 2
        away = [abs(p.left_mm + half - setup.at_mm[0]) for p in setup.strip.pictures]
        setup.index = int(np.argmin(away))
    return _render(setup, rng, seed, tier, names)


def _choose(rng: np.random.Generator, tier: str) -> tuple[str, ...]:
    if tier == "easy":
        return ()
    if tier == "typical":
        return tuple(str(n) for n in rng.choice(TYPICAL, 1))
    if tier == "hard":
        return tuple(str(n) for n in rng.choice(list(HAZARDS), rng.integers(1, 4), replace=False))
    return (str(rng.choice(list(IMPOSSIBLE))),)


def _render(s: Setup, rng: np.random.Generator, seed: int, tier: str, names: tuple[str, ...]) -> Case:
    view, strip = s.view, s.strip
    reach = view.width / view.px_per_mm / 2 + 4
    scale = min(view.px_per_mm * 1.2, 40.0)
    left = s.at_mm[0] - reach
    film, ys = draw_strip(strip, rng, left, s.at_mm[0] + reach, scale)
    top = float(ys[0]) - 0.5 / scale
    light, cover = camera.look(view, film, left, top, scale, s.at_mm, rng)
    picture = camera.develop(view, light, rng)
    jpeg = camera.as_jpeg(view, picture)
    decoded = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert decoded is not None
    corners, shares = None, (0.0, 0.0, 0.0, 0.0)
    tilt, offset = 0.0, (0.0, 0.0)
    if strip.pictures:
        corners = camera.project(view, frame_corners_mm(strip, strip.pictures[s.index]), *s.at_mm)
        clean = camera.develop(replace(view, noise=0, sharpen=0, blur_px=0, motion_px=0), light, rng, noisy=False)
        shares = seen_shares(clean, cover, corners, view.px_per_mm, (view.bars_px[0], view.bars_px[1]))
        tilt, offset = _lie(corners, view)
    return Case(
        seed, _deserved(tier, shares), names, np.asarray(decoded, np.uint8), jpeg, corners, shares, strip.kind,
        strip.format.id,
        1 / view.px_per_mm, tilt, offset,
    )  # fmt: skip


def _deserved(tier: str, shares: tuple[float, float, float, float]) -> str:
    """Tier by what can be seen: no picture is easy because it was meant to be.

    "open" are pictures in which some edge can be seen, but not one each way: an answer may be had, none is demanded.
    """
    visible = [share >= VISIBLE_SHARE for share in shares]
    if max(shares) < NOTHING_SHARE:
        return "impossible"
    if not ((visible[0] or visible[2]) and (visible[1] or visible[3])):
        return "open"
    if tier == "impossible" or (sum(visible) < 3 and tier != "hard"):
        return "hard"
    return "typical" if tier == "easy" and min(shares) < 0.9 else tier


def _lie(corners: npt.NDArray[np.float64], view: View) -> tuple[float, tuple[float, float]]:
    along = (corners[1] - corners[0]) + (corners[2] - corners[3])
    middle = np.array([(view.width - 1) / 2, (view.height - 1) / 2])
    offset = (corners.mean(axis=0) - middle) / view.px_per_mm
    return float(np.degrees(np.arctan2(along[1], along[0]))), (float(offset[0]), float(offset[1]))


def seen_shares(
    picture: npt.NDArray[np.uint8],
    cover: npt.NDArray[np.float32],
    corners: npt.NDArray[np.float64],
    px_per_mm: float,
    bars_px: tuple[int, int],
) -> tuple[float, float, float, float]:
    """Share of each edge along which inside and outside differ in a picture without noise or blur."""
    height, width = picture.shape[:2]
    smooth = cv2.GaussianBlur(picture, (0, 0), 1.0).astype(np.float32)
    shares = []
    for side in range(4):
        start, end = corners[side], corners[(side + 1) % 4]
        along = (end - start) / np.hypot(*(end - start))
        inward = np.array([-along[1], along[0]])
        u = np.linspace(0.02, 0.98, 200)[:, None]
        points = start + (end - start) * u
        tones, hidden = [], np.zeros(200, bool)
        for distance in (-0.2 * px_per_mm - 1, 0.2 * px_per_mm + 1):
            at = points + inward * distance
            inside = (
                (at[:, 0] >= bars_px[0])
                & (at[:, 0] <= width - 1 - bars_px[0])
                & (at[:, 1] >= bars_px[1])
                & (at[:, 1] <= height - 1 - bars_px[1])
            )
            ix, iy = (
                np.clip(np.rint(at[:, 0]), 0, width - 1).astype(int),
                np.clip(np.rint(at[:, 1]), 0, height - 1).astype(int),
            )
            tones.append(smooth[iy, ix])
            hidden |= ~inside | (cover[iy, ix] > 0.05)
        step = np.abs(tones[0] - tones[1]).mean(axis=1)
        shares.append(float(((step > VISIBLE_STEP) & ~hidden).mean()))
    return (shares[0], shares[1], shares[2], shares[3])
