"""What can make a picture of film hard to read, or impossible: each changes a setup in place."""

from collections.abc import Callable

import numpy as np

from tests.film_pictures.camera import Holder
from tests.film_pictures.setups import Setup

Hazard = Callable[[Setup, np.random.Generator], None]


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


def _off_centre(s: Setup, rng: np.random.Generator) -> None:
    """Pulled too far or not far enough: one short edge near the rim of the view, out of it, or behind the holder."""
    off = rng.choice([-1, 1]) * rng.uniform(0.08, 0.27) * s.strip.gate.along
    s.at_mm = (float(off), s.at_mm[1])
    if s.view.holder is not None and rng.random() < 0.5:
        s.view.holder.width_mm = s.view.width / s.view.px_per_mm + 20


def _night_after_night(s: Setup, rng: np.random.Generator) -> None:
    """Dark frames in a row: neither this one nor its neighbours show where they end."""
    for picture in s.strip.pictures:
        picture.scene = str(rng.choice(["night_street", "portrait"]))
        picture.night = rng.uniform(0.0, 0.5)


def _upright(s: Setup, rng: np.random.Generator) -> None:
    s.upright = True


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
    "off_centre": _off_centre, "night_after_night": _night_after_night, "upright": _upright,
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
    "off_centre",
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
