"""Numbers of the protocol, as enums; the clause of the standard stands beside each group.

Clauses are those of ISO 15740 (PTP) and of CIPA DC-X005-2005, the public draft of DC-005
(PTP/IP).  Clause numbers of ISO 15740 are from memory; the values themselves were checked
against independent public implementations.
"""

from __future__ import annotations

from enum import IntEnum

PTP_VERSION = 100
"""StandardVersion in DeviceInfo: hundredths, so 1.00."""
PTPIP_VERSION = 0x00010000
"""Version in the init packets: high half major, low half minor (DC-X005 section 3)."""
ANY_HANDLE = 0xFFFFFFFF
UNSOLICITED = 0xFFFFFFFF
"""Transaction id of an event that no operation caused."""


class PacketType(IntEnum):
    """Packet types (DC-X005 section 2.3)."""

    INIT_COMMAND_REQUEST = 1
    INIT_COMMAND_ACK = 2
    INIT_EVENT_REQUEST = 3
    INIT_EVENT_ACK = 4
    INIT_FAIL = 5
    OPERATION_REQUEST = 6
    OPERATION_RESPONSE = 7
    EVENT = 8
    START_DATA = 9
    DATA = 10
    CANCEL = 11
    END_DATA = 12
    PROBE_REQUEST = 13
    PROBE_RESPONSE = 14


class InitFailReason(IntEnum):
    """Reasons in InitFail (DC-X005 section 2.3.5)."""

    REJECTED = 1
    BUSY = 2
    UNSPECIFIED = 3


class DataPhase(IntEnum):
    """Data phase field of an operation request (DC-X005 section 2.3.6)."""

    UNKNOWN = 0
    NONE_OR_IN = 1
    OUT = 2


class Operation(IntEnum):
    """Standard operations (ISO 15740 clause 10; 0x1024 and 0x1025 from version 1.1)."""

    GET_DEVICE_INFO = 0x1001
    OPEN_SESSION = 0x1002
    CLOSE_SESSION = 0x1003
    GET_STORAGE_IDS = 0x1004
    GET_STORAGE_INFO = 0x1005
    GET_NUM_OBJECTS = 0x1006
    GET_OBJECT_HANDLES = 0x1007
    GET_OBJECT_INFO = 0x1008
    GET_OBJECT = 0x1009
    GET_THUMB = 0x100A
    DELETE_OBJECT = 0x100B
    INITIATE_CAPTURE = 0x100E
    SET_OBJECT_PROTECTION = 0x1012
    GET_DEVICE_PROP_DESC = 0x1014
    GET_DEVICE_PROP_VALUE = 0x1015
    SET_DEVICE_PROP_VALUE = 0x1016
    RESET_DEVICE_PROP_VALUE = 0x1017
    TERMINATE_OPEN_CAPTURE = 0x1018
    GET_PARTIAL_OBJECT = 0x101B
    INITIATE_OPEN_CAPTURE = 0x101C
    GET_STREAM_INFO = 0x1024
    GET_STREAM = 0x1025


class Response(IntEnum):
    """Standard response codes (ISO 15740 clause 11)."""

    OK = 0x2001
    GENERAL_ERROR = 0x2002
    SESSION_NOT_OPEN = 0x2003
    INVALID_TRANSACTION_ID = 0x2004
    OPERATION_NOT_SUPPORTED = 0x2005
    PARAMETER_NOT_SUPPORTED = 0x2006
    INCOMPLETE_TRANSFER = 0x2007
    INVALID_STORAGE_ID = 0x2008
    INVALID_OBJECT_HANDLE = 0x2009
    DEVICE_PROP_NOT_SUPPORTED = 0x200A
    INVALID_OBJECT_FORMAT_CODE = 0x200B
    STORE_FULL = 0x200C
    OBJECT_WRITE_PROTECTED = 0x200D
    STORE_READ_ONLY = 0x200E
    ACCESS_DENIED = 0x200F
    NO_THUMBNAIL_PRESENT = 0x2010
    STORE_NOT_AVAILABLE = 0x2013
    SPECIFICATION_BY_FORMAT_UNSUPPORTED = 0x2014
    CAPTURE_ALREADY_TERMINATED = 0x2018
    DEVICE_BUSY = 0x2019
    INVALID_PARENT_OBJECT = 0x201A
    INVALID_DEVICE_PROP_FORMAT = 0x201B
    INVALID_DEVICE_PROP_VALUE = 0x201C
    INVALID_PARAMETER = 0x201D
    SESSION_ALREADY_OPEN = 0x201E
    TRANSACTION_CANCELLED = 0x201F


class EventCode(IntEnum):
    """Standard events (ISO 15740 clause 12)."""

    CANCEL_TRANSACTION = 0x4001
    OBJECT_ADDED = 0x4002
    OBJECT_REMOVED = 0x4003
    STORE_ADDED = 0x4004
    STORE_REMOVED = 0x4005
    DEVICE_PROP_CHANGED = 0x4006
    OBJECT_INFO_CHANGED = 0x4007
    DEVICE_INFO_CHANGED = 0x4008
    REQUEST_OBJECT_TRANSFER = 0x4009
    STORE_FULL = 0x400A
    DEVICE_RESET = 0x400B
    STORAGE_INFO_CHANGED = 0x400C
    CAPTURE_COMPLETE = 0x400D
    UNREPORTED_STATUS = 0x400E


class Property(IntEnum):
    """Standard device properties (ISO 15740 clause 13; 0x5020 and 0x5021 from version 1.1)."""

    BATTERY_LEVEL = 0x5001
    IMAGE_SIZE = 0x5003
    COMPRESSION_SETTING = 0x5004
    WHITE_BALANCE = 0x5005
    F_NUMBER = 0x5007
    FOCUS_MODE = 0x500A
    EXPOSURE_TIME = 0x500D
    EXPOSURE_PROGRAM_MODE = 0x500E
    EXPOSURE_INDEX = 0x500F
    EXPOSURE_BIAS_COMPENSATION = 0x5010
    DATE_TIME = 0x5011
    STILL_CAPTURE_MODE = 0x5013
    SUPPORTED_STREAMS = 0x5020
    ENABLED_STREAMS = 0x5021


class Format(IntEnum):
    """Object formats (ISO 15740 clause 6; 0x3811 from version 1.1)."""

    UNDEFINED = 0x3000
    ASSOCIATION = 0x3001
    EXIF_JPEG = 0x3801
    TIFF_EP = 0x3802
    TIFF = 0x380D
    DNG = 0x3811


class DataType(IntEnum):
    """Data types of properties (ISO 15740 clause 5.3)."""

    INT8 = 0x0001
    UINT8 = 0x0002
    INT16 = 0x0003
    UINT16 = 0x0004
    INT32 = 0x0005
    UINT32 = 0x0006
    INT64 = 0x0007
    UINT64 = 0x0008
    STRING = 0xFFFF


class FormFlag(IntEnum):
    """Form of a property's value set (ISO 15740 clause 13.3.3)."""

    NONE = 0
    RANGE = 1
    ENUM = 2


class StorageType(IntEnum):
    """Storage types in StorageInfo (ISO 15740 clause 5.5.3)."""

    FIXED_ROM = 1
    REMOVABLE_ROM = 2
    FIXED_RAM = 3
    REMOVABLE_RAM = 4
