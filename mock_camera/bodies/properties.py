"""The table of device properties of a body: bound to a setting, merely remembered, or read from its state."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from mock_camera.body import Body
from mock_camera.codes import DataType, Response
from mock_camera.datasets import PropertyDesc, Value, read_value
from mock_camera.fields import PacketError
from mock_camera.settings import Setting


@dataclass(frozen=True)
class BoundProperty:
    """A property whose value is a setting of the body; `to_wire` maps setting to number."""

    code: int
    data_type: DataType
    setting: str
    to_wire: Mapping[Setting, int]


def stops(numbers: tuple[float, ...], factor: float) -> dict[Setting, int]:
    """Return a map from each number to its whole multiple on the wire, ties dropped."""
    seen: dict[int, float] = {}
    for number in numbers:
        seen.setdefault(int(number * factor + 1e-6), number)
    return {number: wire for wire, number in seen.items()}


def fraction(time_s: float) -> int:
    """Return a shutter time as numerator << 16 | denominator, tenths of a second from 0.3 s on."""
    return round(time_s * 10) << 16 | 10 if time_s >= 0.3 else 1 << 16 | round(1 / time_s)


def _writable(body: Body, setting: str) -> bool:
    """Whether the mode dial lets a setting be changed, as bodies do."""
    program = body.settings.get("program")
    if setting == "time_s":
        return program in ("manual", "shutter")
    if setting == "f_number":
        return program in ("manual", "aperture")
    return True


class PropertyTable:
    """Properties by code: how each reads now and how it is set.

    Parameters
    ----------
    body : Body
        Whose settings and faults count.
    """

    def __init__(self, body: Body) -> None:
        self._body = body
        self._descs: dict[int, Callable[[], PropertyDesc]] = {}
        self._setters: dict[int, Callable[[Value], int]] = {}
        self._bound: dict[str, int] = {}

    @property
    def codes(self) -> list[int]:
        """Codes of all properties, in the order they were added."""
        return list(self._descs)

    def code_of(self, setting: str) -> int | None:
        """Return the code of the property bound to a setting; None if there is none."""
        return self._bound.get(setting)

    def remove(self, *codes: int) -> None:
        """Take properties out, if they are there."""
        for code in codes:
            self._descs.pop(code, None)
            self._setters.pop(code, None)
            self._bound = {setting: bound for setting, bound in self._bound.items() if bound != code}

    def add(self, code: int, desc: Callable[[], PropertyDesc], setter: Callable[[Value], int] | None = None) -> None:
        """Put a property in that is read by calling `desc` and set by calling `setter`."""
        self._descs[code] = desc
        if setter:
            self._setters[code] = setter

    def add_state(
        self,
        code: int,
        data_type: DataType,
        now: Callable[[], Value],
        setter: Callable[[Value], int] | None = None,
        form: tuple[Value, ...] | None = None,
    ) -> None:
        """Put a property in whose current value is what `now` returns."""
        default: Value = "" if data_type is DataType.STRING else 0
        self.add(code, lambda: PropertyDesc(code, data_type, now(), default, setter is not None, form), setter)

    def add_bound(self, binding: BoundProperty) -> None:
        """Put a property in that reads and writes a setting."""
        from_wire = {number: content for content, number in binding.to_wire.items()}
        numbers = tuple(binding.to_wire.values())

        def desc() -> PropertyDesc:
            now = binding.to_wire[self._body.settings.get(binding.setting)]
            can_set = _writable(self._body, binding.setting)
            return PropertyDesc(binding.code, binding.data_type, now, numbers[0], can_set, numbers)

        def put(wanted: Value) -> int:
            self._body.settings.put(binding.setting, from_wire[int(wanted)])
            return Response.OK

        self.add(binding.code, desc, put)
        self._bound.setdefault(binding.setting, binding.code)

    def add_fixed(self, desc: PropertyDesc) -> None:
        """Put a property in that merely remembers what was set."""
        kept = [desc]

        def put(wanted: Value) -> int:
            kept[0] = replace(kept[0], current=wanted)
            return Response.OK

        self.add(desc.code, lambda: kept[0], put)

    def desc(self, code: int) -> PropertyDesc | None:
        """Return the description of a property as it stands now; None if there is none."""
        if code not in self._descs:
            return None
        desc = self._descs[code]()
        fault = self._body.faults.standing("outside-list", prop=code)
        return replace(desc, current=int(fault.number("value"))) if fault else desc

    def now(self, code: int) -> Value:
        """Return the current value of a property; 0 if there is none."""
        desc = self.desc(code)
        return desc.current if desc else 0

    def put(self, code: int, wanted: Value) -> int:
        """Set a property whatever its form says; return the response code."""
        setter = self._setters.get(code)
        return setter(wanted) if setter else Response.ACCESS_DENIED

    def put_bytes(self, code: int, data: bytes) -> int:
        """Set a property from the bytes of a data phase; return the response code."""
        desc = self.desc(code)
        if desc is None:
            return Response.DEVICE_PROP_NOT_SUPPORTED
        if not desc.writable:
            return Response.ACCESS_DENIED
        try:
            wanted = read_value(desc.data_type, data)
        except PacketError:
            return Response.INVALID_DEVICE_PROP_FORMAT
        if not desc.allows(wanted):
            return Response.INVALID_DEVICE_PROP_VALUE
        return self.put(code, wanted)
