"""What can be made to go wrong, and when: a small box of faults that the body looks into.

A fault is written ``name:key=value,key=value`` on the command line, or as a JSON object on the
control channel.  Every fault takes ``times`` (how often it strikes; without it, always) and
``after`` (how many chances it lets pass first).

================== ============================================================================
refuse             operation `op` is answered with `code` (default 0x2002)
delay              the answer to `op` comes `seconds` late
silence            `op` is never answered
drop-command       the command connection is closed instead of answering `op`
drop-event         the event connection is closed when `op` comes
truncate           the data phase of `op` stops after `bytes`, with response 0x2007
wrong-size         ObjectInfo states a size that is off by `by` bytes
outside-list       the current value of property `prop` is `value`, whatever its list says
busy-gap           a release within `seconds` after a shot is answered busy
store-full         the card is full at once, or with ``when=during`` runs full in the shot
no-card            the slot is empty: no store, no objects, no shot to the card
no-live-view       live view is refused with reason `bits` (as far as the dialect has reasons)
live-view-busy     live view answers busy
live-view-corrupt  live-view pictures are cut in half
live-view-empty    live-view pictures are empty
object-added-late  the event of a new picture comes `seconds` after the end of the shot was told
object-added-missing  it does not come at all
object-added-twice it comes twice
two-files          a shot leaves a second, identical file beside the first
same-picture       a shot delivers the bytes of the shot before
battery            the battery stands at `percent`
sleep              after `idle_s` without an operation the body hangs up and falls asleep
================== ============================================================================

`op` and `prop` are numbers (0x9207) or ``*``.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass

OptionValue = int | float | str

NAMES = frozenset(
    {
        "refuse",
        "delay",
        "silence",
        "drop-command",
        "drop-event",
        "truncate",
        "wrong-size",
        "outside-list",
        "busy-gap",
        "store-full",
        "no-card",
        "no-live-view",
        "live-view-busy",
        "live-view-corrupt",
        "live-view-empty",
        "object-added-late",
        "object-added-missing",
        "object-added-twice",
        "two-files",
        "same-picture",
        "battery",
        "sleep",
    }
)
_KEYS = frozenset(
    {"op", "code", "seconds", "bytes", "by", "prop", "value", "when", "bits", "percent", "idle_s", "times", "after"}
)


class FaultError(ValueError):
    """A fault that nobody can understand."""


@dataclass
class Fault:
    """One fault and how often it may still strike.

    `times` counts down to zero; None means always.  `after` counts the chances to let pass.
    """

    name: str
    options: dict[str, OptionValue]
    times: int | None = None
    after: int = 0

    def number(self, key: str, default: float = 0) -> float:
        """Return an option as a number, or the default."""
        content = self.options.get(key, default)
        if isinstance(content, str):
            raise FaultError(f"{self.name}: {key} must be a number, not {content!r}")
        return content

    def fits(self, wanted: Mapping[str, int]) -> bool:
        """Whether the fault is meant for what is being done."""
        return all(self.options.get(key, "*") in ("*", number) for key, number in wanted.items())


def _parse_value(text: str) -> OptionValue:
    for kind in (lambda t: int(t, 0), float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def build(name: str, options: Mapping[str, OptionValue]) -> Fault:
    """Return a fault from its name and options.

    Raises
    ------
    FaultError
        If the name or an option is unknown, or a count is not a number.
    """
    if name not in NAMES:
        raise FaultError(f"no fault is called {name!r}; there are: {', '.join(sorted(NAMES))}")
    given = {key: _parse_value(content) if isinstance(content, str) else content for key, content in options.items()}
    if unknown := set(given) - _KEYS:
        raise FaultError(f"{name} has no option {', '.join(sorted(unknown))}")
    counts = {key: given.pop(key) for key in ("times", "after") if key in given}
    for count, content in counts.items():
        if not isinstance(content, int) or content < 0:
            raise FaultError(f"{name}: {count} must be a whole number, not {content!r}")
    times, after = counts.get("times"), counts.get("after", 0)
    fault = Fault(name, given, None if times is None else int(times), int(after))
    for key in set(given) - {"op", "prop", "when"}:
        fault.number(key)
    return fault


def parse(spec: str) -> Fault:
    """Return the fault that ``name:key=value,...`` spells.

    Raises
    ------
    FaultError
        If it spells none.
    """
    name, _, rest = spec.partition(":")
    options: dict[str, OptionValue] = {}
    for pair in filter(None, rest.split(",")):
        key, equals, content = pair.partition("=")
        if not equals:
            raise FaultError(f"{spec!r}: {pair!r} is not key=value")
        options[key.strip()] = content.strip()
    return build(name.strip(), options)


class FaultBox:
    """The faults in force; safe to use from several threads."""

    def __init__(self, faults: list[Fault] | None = None) -> None:
        self._faults = list(faults or ())
        self._lock = threading.Lock()

    def add(self, fault: Fault) -> None:
        """Put a fault in force."""
        with self._lock:
            self._faults.append(fault)

    def clear(self) -> None:
        """Lift all faults."""
        with self._lock:
            self._faults.clear()

    def strike(self, name: str, **wanted: int) -> Fault | None:
        """Return a fault of that name that strikes now, and count it; None if none does."""
        with self._lock:
            for fault in self._faults:
                if fault.name != name or not fault.fits(wanted):
                    continue
                if fault.after:
                    fault.after -= 1
                    continue
                if fault.times == 0:
                    continue
                if fault.times is not None:
                    fault.times -= 1
                return fault
        return None

    def standing(self, name: str, **wanted: int) -> Fault | None:
        """Return a fault of that name without counting it: for conditions, not for strokes."""
        with self._lock:
            fits = (f for f in self._faults if f.name == name and f.fits(wanted) and f.times != 0)
            return next(fits, None)
