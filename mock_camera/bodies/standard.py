"""A body that speaks the standard alone: InitiateCapture, no live view.

Widgets of the driver: iso 0x500F, shutterspeed 0x500D in 0.1 ms, f-number 0x5007 in hundredths,
exposurecompensation 0x5010 in thousandths of a stop, expprogram 0x500E, focusmode 0x500A.
"""

from __future__ import annotations

from mock_camera.bodies.common import Dialect, OperationSpec
from mock_camera.bodies.properties import BoundProperty, stops
from mock_camera.codes import DataType, Operation, Property
from mock_camera.settings import BIASES_EV, F_NUMBERS, ISOS, TIMES_S, Setting

PROGRAMS: dict[Setting, int] = {"manual": 1, "program": 2, "aperture": 3, "shutter": 4}
FOCUS: dict[Setting, int] = {"manual": 1, "auto": 2}
WHITE_BALANCE: dict[Setting, int] = {"auto": 2, "daylight": 4, "tungsten": 6, "flash": 7}
DRIVES: dict[Setting, int] = {"single": 1, "burst": 2}
COMPRESSION: dict[Setting, int] = {"jpeg": 1, "raw": 2, "raw+jpeg": 3}


def exposure_properties(
    compression: dict[Setting, int], focus: dict[Setting, int], white_balance: dict[Setting, int]
) -> list[BoundProperty]:
    """Return the properties of exposure that the standard itself defines (ISO 15740 clause 13)."""
    return [
        BoundProperty(Property.EXPOSURE_INDEX, DataType.UINT16, "iso", {iso: iso for iso in ISOS}),
        BoundProperty(Property.EXPOSURE_TIME, DataType.UINT32, "time_s", stops(TIMES_S, 10_000)),
        BoundProperty(Property.F_NUMBER, DataType.UINT16, "f_number", stops(F_NUMBERS, 100)),
        BoundProperty(
            Property.EXPOSURE_BIAS_COMPENSATION,
            DataType.INT16,
            "bias_ev",
            {bias: round(bias * 1000) for bias in BIASES_EV},
        ),
        BoundProperty(Property.EXPOSURE_PROGRAM_MODE, DataType.UINT16, "program", PROGRAMS),
        BoundProperty(Property.STILL_CAPTURE_MODE, DataType.UINT16, "drive", DRIVES),
        BoundProperty(Property.COMPRESSION_SETTING, DataType.UINT8, "quality", compression),
        BoundProperty(Property.FOCUS_MODE, DataType.UINT16, "focus", focus),
        BoundProperty(Property.WHITE_BALANCE, DataType.UINT16, "white_balance", white_balance),
    ]


class StandardBody(Dialect):
    """ISO 15740 version 1.0 and nothing else."""

    def add_operations(self) -> None:
        """Add capture to the common operations."""
        self.operations[Operation.INITIATE_CAPTURE] = OperationSpec(self.initiate_capture, params=2)

    def add_properties(self) -> None:
        """Add the standard's exposure properties."""
        for binding in exposure_properties(COMPRESSION, FOCUS, WHITE_BALANCE):
            self.table.add_bound(binding)
