"""A recipe as rows that are turned with keys. Pure."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TypeVar

from tethercap.convert.recipe import Border, Dust, Recipe, Turn
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


def _yes(key: str, label: str, yes: str, no: str) -> Knob:
    return Knob(
        key,
        label,
        lambda r: yes if getattr(r, key) else no,
        lambda r, by: replace(r, **{key: not getattr(r, key)}),  # type: ignore[arg-type]
    )


def _trim(side: int, label: str) -> Knob:
    def turn(recipe: Recipe, by: int) -> Recipe:
        trims = list(recipe.trim_mm)
        trims[side] = min(max(round(trims[side] * 10 + by) / 10, -5.0), 12.0)
        return replace(recipe, trim_mm=(trims[0], trims[1], trims[2], trims[3]))

    return Knob(f"trim {label}", f"cut {label}", lambda r: f"{r.trim_mm[side]:+.1f} mm", turn)


KNOBS: tuple[Knob, ...] = (
    _number("exposure_stops", "lighter", " stops", lambda r, v: replace(r, exposure_stops=v), 0.1, -3.0, 3.0, 0.0),
    _number("contrast", "contrast", "", lambda r, v: replace(r, contrast=v), 0.05, 0.4, 2.0, 1.0),
    _number("saturation", "colour", "", lambda r, v: replace(r, saturation=v), 0.05, 0.0, 2.0, 1.0),
    _number("black_point", "black", "", lambda r, v: replace(r, black_point=v), 0.05, 0.0, 1.0, 1.0),
    _balance(0, "red"),
    _balance(1, "green"),
    _balance(2, "blue"),
    _yes("auto_exposure", "exposure", "found for each", "as on the film"),
    _yes("own_base", "film base", "of this frame", "of the roll"),
    Knob(
        "border",
        "border",
        lambda r: r.border.value,
        lambda r, by: replace(r, border=_following(list(Border), r.border, by)),
    ),
    *(_trim(side, label) for side, label in enumerate(("left", "top", "right", "bottom"))),
    Knob("turn", "turned", lambda r: r.turn.value, lambda r, by: replace(r, turn=_following(list(Turn), r.turn, by))),
    _yes("mirrored", "mirrored", "yes", "no"),
    Knob("dust", "dust", lambda r: r.dust.value, lambda r, by: replace(r, dust=_following(list(Dust), r.dust, by))),
)


def knob_line(knob: Knob, recipe: Recipe, width: int) -> Line:
    """One row: label, value, and a gauge where there is a middle."""
    spans = [Span(f"{knob.label:<11}", Role.FAINT), Span(f"{knob.show(recipe):>14}  ")]
    room = width - 31
    if knob.gauge is not None and room >= 7:
        value, full = knob.gauge(recipe)
        spans += level(value, full_scale=full, limit=full / 40, width=room | 1, role=Role.ACCENT)
    return line(*spans)
