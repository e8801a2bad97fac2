"""The datasets of the standard (ISO 15740 clause 5.5 and 13.3): values in, bytes out.

Field order and widths agree with independent public implementations.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from mock_camera.codes import PTP_VERSION, DataType, Format, FormFlag, StorageType
from mock_camera.fields import PacketError, Reader, array16, string, u8, u16, u32, u64, value

Value = int | str


@dataclass(frozen=True)
class DeviceInfo:
    """What a body says about itself (clause 5.5.1)."""

    vendor_extension: int
    vendor_version: int
    vendor_text: str
    operations: tuple[int, ...]
    events: tuple[int, ...]
    properties: tuple[int, ...]
    capture_formats: tuple[int, ...]
    image_formats: tuple[int, ...]
    manufacturer: str
    model: str
    version: str
    serial: str
    functional_mode: int = 0

    def encode(self) -> bytes:
        """Return the dataset as bytes."""
        arrays = (
            self.operations,
            self.events,
            self.properties,
            self.capture_formats,
            self.image_formats,
        )
        texts = (self.manufacturer, self.model, self.version, self.serial)
        return b"".join(
            (
                u16(PTP_VERSION),
                u32(self.vendor_extension),
                u16(self.vendor_version),
                string(self.vendor_text),
                u16(self.functional_mode),
                *(array16(values) for values in arrays),
                *(string(text) for text in texts),
            )
        )


@dataclass(frozen=True)
class StorageInfo:
    """A store, its size and what is free (clause 5.5.3); sizes in bytes."""

    capacity_bytes: int
    free_bytes: int
    free_pictures: int
    description: str
    label: str
    read_only: bool = False
    storage_type: int = StorageType.REMOVABLE_RAM

    def encode(self) -> bytes:
        """Return the dataset as bytes; the file system is DCF (3)."""
        return b"".join(
            (
                u16(self.storage_type),
                u16(3),
                u16(1 if self.read_only else 0),
                u64(self.capacity_bytes),
                u64(self.free_bytes),
                u32(self.free_pictures),
                string(self.description),
                string(self.label),
            )
        )


@dataclass(frozen=True)
class ObjectInfo:
    """A file or a folder on a store (clause 5.5.2); sizes in bytes and pixels."""

    storage: int
    format: int
    size_bytes: int
    name: str
    parent: int = 0
    protected: bool = False
    thumb_bytes: int = 0
    thumb_size_px: tuple[int, int] = (0, 0)
    image_size_px: tuple[int, int] = (0, 0)
    bit_depth: int = 0
    taken: str = ""

    def encode(self) -> bytes:
        """Return the dataset as bytes."""
        is_folder = self.format == Format.ASSOCIATION
        return b"".join(
            (
                u32(self.storage),
                u16(self.format),
                u16(1 if self.protected else 0),
                u32(min(self.size_bytes, 0xFFFFFFFF)),
                u16(Format.EXIF_JPEG if self.thumb_bytes else 0),
                u32(self.thumb_bytes),
                u32(self.thumb_size_px[0]),
                u32(self.thumb_size_px[1]),
                u32(self.image_size_px[0]),
                u32(self.image_size_px[1]),
                u32(self.bit_depth),
                u32(self.parent),
                u16(1 if is_folder else 0),
                u32(0),
                u32(0),
                string(self.name),
                string(self.taken),
                string(self.taken),
                string(""),
            )
        )


@dataclass(frozen=True)
class Range:
    """Every value from lowest to highest in equal steps."""

    lowest: int
    highest: int
    step: int


@dataclass(frozen=True)
class PropertyDesc:
    """A device property with its current value and the values it may take (clause 13.3.3).

    `form` is None (any value), a `Range`, or a tuple of the values allowed.
    """

    code: int
    data_type: DataType
    current: Value
    default: Value
    writable: bool = False
    form: Range | tuple[Value, ...] | None = field(default=None)

    def encode(self) -> bytes:
        """Return the dataset as bytes."""
        return b"".join(
            (
                u16(self.code),
                u16(self.data_type),
                u8(1 if self.writable else 0),
                value(self.data_type, self.default),
                value(self.data_type, self.current),
                self.encode_form(),
            )
        )

    def encode_current(self) -> bytes:
        """Return the current value alone."""
        return value(self.data_type, self.current)

    def encode_form(self) -> bytes:
        """Return the form alone: its flag, then range or list."""
        if self.form is None:
            return u8(FormFlag.NONE)
        if isinstance(self.form, Range):
            numbers = (self.form.lowest, self.form.highest, self.form.step)
            return u8(FormFlag.RANGE) + b"".join(value(self.data_type, n) for n in numbers)
        packed = b"".join(value(self.data_type, v) for v in self.form)
        return u8(FormFlag.ENUM) + u16(len(self.form)) + packed

    def allows(self, wanted: Value) -> bool:
        """Whether the form admits the value."""
        if self.form is None:
            return True
        if isinstance(self.form, Range):
            if not isinstance(wanted, int) or not self.form.lowest <= wanted <= self.form.highest:
                return False
            return not self.form.step or (wanted - self.form.lowest) % self.form.step == 0
        return wanted in self.form


def date_text(moment: datetime) -> str:
    """Return ``YYYYMMDDThhmmss.s`` (clause 5.3.5), tenths of a second cut off."""
    return f"{moment:%Y%m%dT%H%M%S}.{moment.microsecond // 100_000}"


def read_value(data_type: DataType, data: bytes) -> Value:
    """Read the one value that a set operation sends.

    Raises
    ------
    mock_camera.packets.PacketError
        If the bytes are too few or too many for the type.
    """
    reader = Reader(data)
    content = reader.value(data_type)
    if reader.left:
        raise PacketError(f"{reader.left} bytes too many for {data_type.name}")
    return content
