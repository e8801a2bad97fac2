"""How full the battery is: the finest figure that can be believed.

One camera may show three figures that disagree (21 % and 50 %): the property itself, and the driver's and the maker's
coarser ones. Old compacts count 0 to 3 and the driver prints '3%'.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from tethercap.camera.words.candidates import is_battery_name
from tethercap.camera.words.makers import Maker
from tethercap.camera.words.values import read_percent
from tethercap.camera.words.widgets import Widget, WidgetKind
from tethercap.exposure.parse import parse_number
from tethercap.exposure.settings import ValueKind

_PROPERTY = "5001"
"""Standard property BatteryLevel (ISO 15740)."""
_SONY_PROPERTY = "d218"
_FUJI_PROPERTY = "d36b"
"""Three figures, the first is the body's percentage."""
_HIGHEST_STEP = 10
"""A scale that ends here or below counts steps; one that ends between here and 100 is a percentage."""


@dataclass(frozen=True, slots=True)
class BatteryReading:
    """What the battery stands at, and which widget said so."""

    percent: float
    widget: Widget


def read_battery(widgets: Mapping[str, Widget], maker: Maker) -> BatteryReading | None:
    """Read the battery; None where nothing shown can be a percentage."""
    return next(_readings(widgets, maker), None)


def _readings(widgets: Mapping[str, Widget], maker: Maker) -> Iterator[BatteryReading]:
    fine = widgets.get(_PROPERTY)
    steps = _top_of_scale(fine)
    counts_steps = steps is not None and not _HIGHEST_STEP < steps <= 100
    if fine is not None and steps is not None and not counts_steps:
        yield from _percent(fine)
    step = parse_number(fine.current_text) if fine is not None and counts_steps else None
    translated = (name for name in widgets if is_battery_name(name))
    for name in (*translated, "batterylevel", "battery"):
        for reading in _percent(widgets[name]) if name in widgets else ():
            # Where the property counts in steps, the driver may put its % sign behind the bare step.
            if step != reading.percent:
                yield reading
    if maker is Maker.SONY and _SONY_PROPERTY in widgets:
        yield from _percent(widgets[_SONY_PROPERTY])
    if maker is Maker.FUJIFILM and _FUJI_PROPERTY in widgets:
        first, *_ = widgets[_FUJI_PROPERTY].current_text.split(",")
        yield from _percent(widgets[_FUJI_PROPERTY], first)
    if fine is not None and steps is not None and step is not None and 0 <= step <= steps:
        yield BatteryReading(round(100 * step / steps), fine)


def _percent(widget: Widget, text: str | None = None) -> Iterator[BatteryReading]:
    value = read_percent(widget.current_text if text is None else text)
    if value.kind is ValueKind.NUMBER and value.number is not None:
        yield BatteryReading(value.number, widget)


def _top_of_scale(widget: Widget | None) -> float | None:
    if widget is None:
        return None
    if widget.kind is WidgetKind.RANGE:
        return widget.range[1] if widget.range and widget.range[1] > 0 else None
    figures = [figure for figure in map(parse_number, widget.choices) if figure is not None]
    return max(figures) if figures and max(figures) > 0 else None
