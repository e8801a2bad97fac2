"""A recipe as rows that are turned with keys, and a quick look at what it gives. Pure but for the conversion itself."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TypeVar

import numpy as np

from tethercap.convert.pipeline import convert
from tethercap.convert.recipe import Border, Recipe, Turn
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx
from tethercap.pictures import RawPicture, U8Array
from tethercap.tui.lines import Line, Role, Span, level, line

_Choice = TypeVar("_Choice", bound=StrEnum)


@dataclass(frozen=True, slots=True)
class Knob:
    """One thing of the recipe that can be turned."""

    key: str
    label: str
    show: Callable[[Recipe], str]
    turn: Callable[[Recipe, int], Recipe]
    gauge: Callable[[Recipe], tuple[float, float]] | None = None
    """Value and full scale, for those with a middle."""


def _number(
    key: str,
    label: str,
    unit: str,
    put: Callable[[Recipe, float], Recipe],
    step: float,
    low: float,
    high: float,
    middle: float,
) -> Knob:
    def value(recipe: Recipe) -> float:
        return float(getattr(recipe, key))

    def turn(recipe: Recipe, by: int) -> Recipe:
        turned = min(max(round((value(recipe) + by * step) / step) * step, low), high)
        return put(recipe, round(turned, 6))

    return Knob(
        key, label, lambda r: f"{value(r):+.2f}{unit}" if middle == 0 else f"{value(r):.2f}{unit}", turn,
        lambda r: (value(r) - middle, max(high - middle, middle - low)),
    )  # fmt: skip


def _balance(channel: int, label: str) -> Knob:
    def turn(recipe: Recipe, by: int) -> Recipe:
        stops = list(recipe.balance_stops)
        stops[channel] = min(max(round(stops[channel] * 20 + by) / 20, -1.0), 1.0)
        return replace(recipe, balance_stops=(stops[0], stops[1], stops[2]))

    return Knob(
        f"balance {label}",
        label,
        lambda r: f"{r.balance_stops[channel]:+.2f} stops",
        turn,
        lambda r: (r.balance_stops[channel], 1.0),
    )


def _following(choices: Sequence[_Choice], now: _Choice, by: int) -> _Choice:
    return choices[(choices.index(now) + by) % len(choices)]


KNOBS: tuple[Knob, ...] = (
    _number("exposure_stops", "lighter", " stops", lambda r, v: replace(r, exposure_stops=v), 0.1, -3.0, 3.0, 0.0),
    _number("contrast", "contrast", "", lambda r, v: replace(r, contrast=v), 0.05, 0.4, 2.0, 1.0),
    _number("saturation", "colour", "", lambda r, v: replace(r, saturation=v), 0.05, 0.0, 2.0, 1.0),
    _number("black_point", "black", "", lambda r, v: replace(r, black_point=v), 0.05, 0.0, 1.0, 1.0),
    _balance(0, "red"),
    _balance(1, "green"),
    _balance(2, "blue"),
    Knob(
        "border",
        "border",
        lambda r: r.border.value,
        lambda r, by: replace(r, border=_following(list(Border), r.border, by)),
    ),
    Knob("turn", "turned", lambda r: r.turn.value, lambda r, by: replace(r, turn=_following(list(Turn), r.turn, by))),
    Knob(
        "mirrored",
        "mirrored",
        lambda r: "yes" if r.mirrored else "no",
        lambda r, by: replace(r, mirrored=not r.mirrored),
    ),
    Knob(
        "auto_exposure",
        "exposure",
        lambda r: "found for each" if r.auto_exposure else "as on the film",
        lambda r, by: replace(r, auto_exposure=not r.auto_exposure),
    ),
)


def knob_line(knob: Knob, recipe: Recipe, width: int) -> Line:
    """One row: label, value, and a gauge where there is a middle."""
    spans = [Span(f"{knob.label:<11}", Role.FAINT), Span(f"{knob.show(recipe):>14}  ")]
    room = width - 31
    if knob.gauge is not None and room >= 7:
        value, full = knob.gauge(recipe)
        spans += level(value, full_scale=full, limit=full / 40, width=room | 1, role=Role.ACCENT)
    return line(*spans)


def thinned(raw: RawPicture, step: int) -> RawPicture:
    """Keep one 2 x 2 cell of `step` x `step`: a small RAW with the same colours, for a quick look."""
    rows = np.arange(0, raw.mosaic.shape[0] // 2, step)
    columns = np.arange(0, raw.mosaic.shape[1] // 2, step)
    pick_rows = np.stack([2 * rows, 2 * rows + 1], axis=1).reshape(-1)
    pick_columns = np.stack([2 * columns, 2 * columns + 1], axis=1).reshape(-1)
    return replace(raw, mosaic=np.ascontiguousarray(raw.mosaic[np.ix_(pick_rows, pick_columns)]))


def quick_look(
    small: RawPicture, recipe: Recipe, corners: QuadPx | None, film_kind: FilmKind
) -> tuple[U8Array, tuple[str, ...]]:
    """Convert a thinned RAW; give 8-bit BGR pixels and what the conversion warned of.

    Raises
    ------
    ConversionError
    """
    made = convert(small, replace(recipe, half_size=True), base=None, corners=corners, film_kind=film_kind)
    eight_bit = (made.positive.pixels_rgb >> 8).astype(np.uint8)
    return np.ascontiguousarray(eight_bit[..., ::-1]), made.warnings
