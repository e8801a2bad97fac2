"""Hazards: what makes a frame hard, or impossible, to see."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from tests.film_second import scenes
from tests.film_second.rigs import cut_holder
from tests.film_second.scenes import Rng
from tethercap.pictures import F32Array

if TYPE_CHECKING:
    from tests.film_second.pictures import Setting


@dataclass(frozen=True, slots=True)
class Hazard:
    """One hazard and the tier it belongs to."""

    name: str
    tier: str
    apply: Callable[[Setting], None]
    needs_135: bool = False


def _holder(along_mm: tuple[float, float], across_mm: tuple[float, float]) -> Callable[[Setting], None]:
    """A holder whose opening is that much larger (or smaller) than the frame on each side, by lot."""

    def apply(s: Setting) -> None:
        along, across = (
            half / 2 + s.rng.uniform(*more) for half, more in ((s.along_mm, along_mm), (s.across_mm, across_mm))
        )
        s.rig = replace(s.rig, opening=cut_holder(s.rng, along, across))

    return apply


def _one_side_hidden(along: bool) -> Callable[[Setting], None]:
    """A holder that lies off, so that it hides one edge and shows the base beside the other."""

    def apply(s: Setting) -> None:
        by = float(s.rng.choice([-1, 1]) * s.rng.uniform(0.6, 1.5))
        more = float(s.rng.uniform(0.3, 0.5))
        plain = cut_holder(s.rng, s.along_mm / 2 + more, s.across_mm / 2 + more)
        x, y = (by + s.offset_mm[0], s.offset_mm[1]) if along else (s.offset_mm[0], by + s.offset_mm[1])
        s.rig = replace(s.rig, opening=plain.moved(x, y))

    return apply


def _rig(**ranges: tuple[float, float]) -> Callable[[Setting], None]:
    def apply(s: Setting) -> None:
        s.rig = replace(s.rig, **{name: float(s.rng.uniform(*span)) for name, span in ranges.items()})  # type: ignore[arg-type]

    return apply


def _scaled(**factors: tuple[float, float]) -> Callable[[Setting], None]:
    def apply(s: Setting) -> None:
        changed = {name: getattr(s.rig, name) * float(s.rng.uniform(*span)) for name, span in factors.items()}
        s.rig = replace(s.rig, **changed)

    return apply


def _scene(*made: Callable[[Rng, int, int], F32Array]) -> Callable[[Setting], None]:
    def apply(s: Setting) -> None:
        s.scene = made[int(s.rng.integers(len(made)))]

    return apply


def _setting(**values: tuple[float, float]) -> Callable[[Setting], None]:
    def apply(s: Setting) -> None:
        for name, span in values.items():
            setattr(s, name, float(s.rng.uniform(*span)))

    return apply


def _off_centre(s: Setting) -> None:
    s.offset_mm = (float(s.rng.choice([-1, 1]) * s.rng.uniform(0.08, 0.3) * s.film_format.along_mm), s.offset_mm[1])


def _several_in_view(s: Setting) -> None:
    s.rig = replace(s.rig, view_mm=s.rig.view_mm * float(s.rng.uniform(1.5, 2.2)), opening=None)
    s.offset_mm = (float(s.rng.uniform(-0.3, 0.3) * s.film_format.along_mm), s.offset_mm[1])


def _larger_than_view(s: Setting) -> None:
    s.rig = replace(s.rig, view_mm=s.rig.view_mm * float(s.rng.uniform(0.72, 0.85)), opening=None)
    half = s.film_format.along_mm / 2, s.film_format.across_mm / 2
    view = s.rig.view_mm / 2, s.rig.view_mm / 2 * s.rig.height / s.rig.width
    push = [
        float(s.rng.choice([-1, 1])) * max(h - v + s.rng.uniform(1.0, 2.5), 0.5)
        for h, v in zip(half, view, strict=True)
    ]
    s.offset_mm = (push[0], push[1])


def _fogged(s: Setting) -> None:
    s.stock = replace(s.stock, fog=float(s.rng.uniform(0.3, 0.9)))


def _leak(s: Setting) -> None:
    """Light came in along the film: over a gap, or from one side."""

    def leak(rng: Rng, density: F32Array, px_per_mm: float) -> None:
        rows, columns = np.mgrid[0 : density.shape[0], 0 : density.shape[1]].astype(np.float32) / px_per_mm
        x = density.shape[1] / px_per_mm / 2 + rng.choice([-1, 1]) * s.film_format.along_mm / 2 + rng.normal(0, 3)
        y = rng.uniform(0, density.shape[0] / px_per_mm)
        glow = np.exp(
            -((columns - x) ** 2 / (2 * rng.uniform(1.5, 8) ** 2)) - (rows - y) ** 2 / (2 * rng.uniform(4, 20) ** 2)
        )
        sign = -1 if s.stock.unexposed else 1
        density += (sign * glow * rng.uniform(0.4, 1.3))[:, :, None] * np.array([0.6, 0.9, 1.0], np.float32)

    s.on_density.append(leak)


def _hairs(s: Setting) -> None:
    def hair(rng: Rng, density: F32Array, px_per_mm: float) -> None:
        for _ in range(rng.integers(2, 9)):
            start = rng.uniform(0, 1, 2) * density.shape[1::-1]
            steps = np.cumsum(rng.normal(0, 1, (12, 2)) * px_per_mm + rng.normal(0, 0.8, 2) * px_per_mm, axis=0)
            line = (start + steps).astype(np.int32).reshape(-1, 1, 2)
            cv2.polylines(density, [line], False, (1.6, 1.6, 1.6), max(1, round(0.05 * px_per_mm)), cv2.LINE_AA)

    s.on_density.append(hair)
    dust = tuple(
        (*s.rng.uniform(0, 1, 2).tolist(), float(s.rng.uniform(0.002, 0.012))) for _ in range(s.rng.integers(3, 20))
    )
    s.rig = replace(s.rig, dust=dust)


def _scratches(s: Setting) -> None:
    """Straight along the film, as guides make them: lines parallel to the long edges."""

    def scratch(rng: Rng, density: F32Array, px_per_mm: float) -> None:
        for _ in range(rng.integers(1, 6)):
            y = int(rng.uniform(0.1, 0.9) * density.shape[0])
            thick = max(1, round(rng.uniform(0.02, 0.08) * px_per_mm))
            density[y : y + thick] += np.float32(rng.choice([-0.3, 0.5]))

    s.on_density.append(scratch)


def _fingerprints(s: Setting) -> None:
    def prints(rng: Rng, density: F32Array, px_per_mm: float) -> None:
        rows, columns = np.mgrid[0 : density.shape[0], 0 : density.shape[1]].astype(np.float32) / px_per_mm
        for _ in range(rng.integers(1, 4)):
            x, y = rng.uniform(0, 1, 2) * np.array(density.shape[1::-1]) / px_per_mm
            away = np.hypot(columns - x, (rows - y) * 0.7)
            ridges = (np.sin(away * 2 * np.pi / 0.5) * 0.5 + 0.5) * np.exp(-((away / 6) ** 4))
            density += (ridges * rng.uniform(0.05, 0.2))[:, :, None].astype(np.float32)

    s.on_density.append(prints)


def _splice(s: Setting) -> None:
    """A strip of tape across the film near a gap."""

    def tape(rng: Rng, density: F32Array, px_per_mm: float) -> None:
        middle = (
            density.shape[1] / 2 + rng.choice([-1, 1]) * (s.film_format.along_mm / 2 + rng.uniform(-2, 4)) * px_per_mm
        )
        half = rng.uniform(3, 9) * px_per_mm
        left, right = (int(np.clip(middle + sign * half, 0, density.shape[1])) for sign in (-1, 1))
        density[:, left:right] += np.float32(rng.uniform(0.04, 0.2))

    s.on_density.append(tape)


def _strip_end(s: Setting) -> None:
    end = s.along_mm / 2 + float(s.rng.uniform(0.5, 6))
    s.ends_mm = (-1e3, end) if s.rng.random() < 0.5 else (-end, 1e3)


def _touching(s: Setting) -> None:
    s.gap_mm = float(s.rng.choice([0.0, s.rng.uniform(0.0, 0.5)]))


def _overlapping(s: Setting) -> None:
    s.gap_mm = float(s.rng.uniform(-1.5, -0.2))


def _flicker(s: Setting) -> None:
    s.rig = replace(s.rig, flicker=float(s.rng.uniform(0.05, 0.25)), flicker_bands=float(s.rng.uniform(1, 7)))


def _skips(s: Setting) -> None:
    s.rig = replace(s.rig, skips_lines=True)


def _smeared(s: Setting) -> None:
    s.speed_mm_s = float(s.rng.choice([-1, 1]) * s.rng.uniform(8, 40))
    s.rig = replace(s.rig, readout_s=float(s.rng.uniform(0.005, 0.03)))


def _inside_frame(s: Setting) -> None:
    s.rig = replace(s.rig, view_mm=s.rig.view_mm * float(s.rng.uniform(0.4, 0.65)), opening=None)
    s.offset_mm, s.turned_deg = (0.0, 0.0), 0.0


def _nothing(_: Setting) -> None:
    """The picture itself leaves the film out."""


def _all_blank(s: Setting) -> None:
    s.scene, s.neighbours = scenes.blank, (scenes.blank,)


def _night_hidden(s: Setting) -> None:
    s.scene, s.neighbours = scenes.night, (scenes.blank,)


def _defocused(s: Setting) -> None:
    s.rig = replace(s.rig, blur_px=float(s.rng.uniform(0.03, 0.06)) * s.rig.width)


def _veiled(s: Setting) -> None:
    """A hand, a lens cap, a sheet of paper: nothing but an even tone and noise."""

    def cover(rng: Rng, lit: F32Array) -> None:
        lit[:] = np.float32(10 ** rng.uniform(-3, -0.3))

    s.on_light.append(cover)


DAMAGES: tuple[Hazard, ...] = (
    Hazard("holder about as large as the frame", "typical", _holder((0.15, 0.6), (0.1, 0.5))),
    Hazard("holder hides a long edge", "typical", _one_side_hidden(along=False)),
    Hazard("holder hides a short edge", "typical", _one_side_hidden(along=True)),
    Hazard("holder hides the long edges", "hard", _holder((1.0, 5.0), (-0.7, -0.1))),
    Hazard("holder smaller than the frame", "impossible", _holder((-1.5, -0.6), (-1.5, -0.6))),
    Hazard("off centre", "typical", _off_centre),
    Hazard("several in view", "typical", _several_in_view),
    Hazard("night on some sides", "typical", _scene(scenes.night_side)),
    Hazard("rounded gate", "typical", _setting(rounded_mm=(1.0, 3.0))),
    Hazard("faint", "typical", _scaled(exposure=(0.25, 0.5))),
    Hazard("strip end", "typical", _strip_end),
    Hazard("narrow gap", "typical", _setting(gap_mm=(0.3, 1.0))),
    Hazard("larger than the view", "hard", _larger_than_view),
    Hazard("touching", "hard", _touching),
    Hazard("overlapping", "hard", _overlapping),
    Hazard("ragged gate", "hard", _setting(ragged_mm=(0.06, 0.15), bow_mm=(0.05, 0.25))),
    Hazard("lines near the edge", "hard", _scene(scenes.landscape, scenes.room, scenes.blinds, scenes.town)),
    Hazard("snow", "hard", _scene(scenes.snow)),
    Hazard("night", "hard", _scene(scenes.night_side)),
    Hazard("fogged", "hard", _fogged),
    Hazard("light leak", "hard", _leak),
    Hazard("dust and hair", "hard", _hairs),
    Hazard("scratches", "hard", _scratches),
    Hazard("fingerprints", "hard", _fingerprints),
    Hazard("splice", "hard", _splice),
    Hazard("uneven light", "hard", _rig(fall_off=(0.3, 0.6))),
    Hazard("glare", "hard", _rig(glare=(0.06, 0.25), reflection=(0.0, 0.2))),
    Hazard("flicker", "hard", _flicker),
    Hazard("bowed film", "hard", _setting(bow=(0.002, 0.008), bow_mm=(0.05, 0.2))),
    Hazard("overexposed", "hard", _scaled(exposure=(1.5, 3.0))),
    Hazard("underexposed", "hard", _scaled(exposure=(0.08, 0.25))),
    Hazard("defocus", "hard", _scaled(blur_px=(3.0, 6.0))),
    Hazard("noise", "hard", _rig(noise=(0.03, 0.07), dark_noise=(0.006, 0.02))),
    Hazard("moving", "hard", _smeared),
    Hazard("line skipping", "hard", _skips),
    Hazard("tilted", "hard", _rig(turned_deg=(-4.0, 4.0))),
    Hazard("keystone", "hard", lambda s: _rig_pair(s, 1.0)),
    Hazard("distortion", "hard", _rig(distortion=(-0.01, 0.01))),
    Hazard("bare light", "impossible", _nothing),
    Hazard("holder empty", "impossible", _holder((-0.5, 4.0), (-0.5, 1.0))),
    Hazard("inside the frame", "impossible", _inside_frame),
    Hazard("unexposed strip", "impossible", _all_blank),
    Hazard("night beside night", "impossible", _night_hidden),
    Hazard("far out of focus", "impossible", _defocused),
    Hazard("covered", "impossible", _veiled),
)


def _rig_pair(s: Setting, largest_deg: float) -> None:
    pair = s.rng.uniform(-largest_deg, largest_deg, 2)
    s.rig = replace(s.rig, keystone_deg=(float(pair[0]), float(pair[1])))
