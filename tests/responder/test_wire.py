"""The responder against the rules of ISO 15740 and CIPA DC-X005, by raw socket."""

from __future__ import annotations

import errno
import os
import random
import socket
import time
from typing import Any

import pytest

from mock_camera import fields, packets
from mock_camera.bodies import ALL_BODIES
from mock_camera.codes import EventCode, Format, InitFailReason, Operation, Property, Response
from mock_camera.fields import Reader
from mock_camera.packets import (
    Cancel,
    InitCommandRequest,
    InitEventRequest,
    InitFail,
    OperationRequest,
    ProbeRequest,
    ProbeResponse,
    StartData,
)

BODY = ("--body", "standard")


def shoot(wire: Any) -> int:
    """Take a picture; return the handle of the file."""
    code, _, _ = wire.ask(Operation.INITIATE_CAPTURE, 0, 0)
    assert code == Response.OK
    shot = wire.transaction
    handle = 0
    while True:
        event = wire.next_event()
        assert event.transaction == shot
        if event.code == EventCode.CAPTURE_COMPLETE:
            return handle
        assert event.code == EventCode.OBJECT_ADDED
        handle = event.params[0]


def test_handshake_and_session_byte_by_byte(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY)).init()
    wire.command.sendall(bytes.fromhex("16000000 06000000 01000000 0210 00000000 01000000".replace(" ", "")))
    assert wire.read(14) == bytes.fromhex("0e000000 07000000 0120 00000000")
    wire.command.sendall(bytes.fromhex("12000000 06000000 01000000 0410 01000000".replace(" ", "")))
    assert wire.read(20) == bytes.fromhex("14000000 09000000 01000000 0800000000000000")
    assert wire.read(20) == bytes.fromhex("14000000 0c000000 01000000 01000000 01000100")
    assert wire.read(14) == bytes.fromhex("0e000000 07000000 0120 01000000")


def test_device_info_works_outside_a_session_and_nothing_else_does(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY, "--serial", "S-42")).init()
    code, data, _ = wire.ask(Operation.GET_DEVICE_INFO, transaction=0)
    assert code == Response.OK
    reader = Reader(data)
    reader.take(2 + 4 + 2)
    assert reader.string() == ""
    reader.u16()
    operations = reader.array16()
    assert Operation.INITIATE_CAPTURE in operations
    assert [reader.array16() for _ in range(4)][3][:2] == [Format.ASSOCIATION, Format.DNG]
    assert [reader.string() for _ in range(4)][3] == "S-42"
    assert wire.ask(Operation.GET_STORAGE_IDS)[0] == Response.SESSION_NOT_OPEN
    assert wire.ask(Operation.CLOSE_SESSION)[0] == Response.SESSION_NOT_OPEN


def test_session_rules(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY)).init()
    assert wire.ask(Operation.OPEN_SESSION, 0, transaction=0)[0] == Response.INVALID_PARAMETER
    assert wire.ask(Operation.OPEN_SESSION, 1, transaction=9)[0] == Response.INVALID_TRANSACTION_ID
    assert wire.ask(Operation.OPEN_SESSION, 1, 5, transaction=0)[0] == Response.PARAMETER_NOT_SUPPORTED
    assert wire.ask(Operation.OPEN_SESSION, 1, transaction=0)[0] == Response.OK
    assert wire.ask(Operation.OPEN_SESSION, 2, transaction=0)[0] == Response.SESSION_ALREADY_OPEN
    assert wire.ask(Operation.GET_STORAGE_IDS, transaction=0)[0] == Response.INVALID_TRANSACTION_ID
    assert wire.ask(Operation.GET_STORAGE_IDS, transaction=0xFFFFFFFF)[0] == Response.INVALID_TRANSACTION_ID
    assert wire.ask(Operation.GET_STORAGE_IDS, transaction=1)[0] == Response.OK
    assert wire.ask(Operation.GET_STORAGE_IDS, transaction=1)[0] == Response.INVALID_TRANSACTION_ID
    assert wire.ask(Operation.CLOSE_SESSION, transaction=2)[0] == Response.OK
    assert wire.ask(Operation.OPEN_SESSION, 7, transaction=0)[0] == Response.OK


MISUSE: list[tuple[int, tuple[int, ...], Response]] = [
    (0x1FFF, (), Response.OPERATION_NOT_SUPPORTED),
    (0x9201, (), Response.OPERATION_NOT_SUPPORTED),
    (Operation.GET_STORAGE_IDS, (1,), Response.PARAMETER_NOT_SUPPORTED),
    (Operation.GET_STORAGE_INFO, (0x00020001,), Response.INVALID_STORAGE_ID),
    (Operation.GET_OBJECT_HANDLES, (0x00020001, 0, 0), Response.INVALID_STORAGE_ID),
    (Operation.GET_OBJECT_HANDLES, (0xFFFFFFFF, 0, 0x999), Response.INVALID_OBJECT_HANDLE),
    (Operation.GET_NUM_OBJECTS, (0x00020001, 0, 0), Response.INVALID_STORAGE_ID),
    (Operation.GET_OBJECT_INFO, (0x999,), Response.INVALID_OBJECT_HANDLE),
    (Operation.GET_OBJECT, (0x999,), Response.INVALID_OBJECT_HANDLE),
    (Operation.GET_OBJECT, (1,), Response.INVALID_OBJECT_HANDLE),
    (Operation.GET_PARTIAL_OBJECT, (0x999, 0, 10), Response.INVALID_OBJECT_HANDLE),
    (Operation.GET_THUMB, (1,), Response.NO_THUMBNAIL_PRESENT),
    (Operation.GET_THUMB, (0x999,), Response.INVALID_OBJECT_HANDLE),
    (Operation.DELETE_OBJECT, (0x999,), Response.INVALID_OBJECT_HANDLE),
    (Operation.DELETE_OBJECT, (0xFFFFFFFF, 0x3811), Response.SPECIFICATION_BY_FORMAT_UNSUPPORTED),
    (Operation.SET_OBJECT_PROTECTION, (1, 7), Response.INVALID_PARAMETER),
    (Operation.GET_DEVICE_PROP_DESC, (0x5FFF,), Response.DEVICE_PROP_NOT_SUPPORTED),
    (Operation.GET_DEVICE_PROP_VALUE, (0x5FFF,), Response.DEVICE_PROP_NOT_SUPPORTED),
    (Operation.INITIATE_CAPTURE, (0x00020001, 0), Response.STORE_NOT_AVAILABLE),
    (Operation.INITIATE_CAPTURE, (0, 0x3009), Response.INVALID_OBJECT_FORMAT_CODE),
    (Operation.SET_DEVICE_PROP_VALUE, (0x500F,), Response.GENERAL_ERROR),
]


def test_misuse_is_answered_with_its_code(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY)).open()
    assert [wire.ask(code, *params) for code, params, _ in MISUSE] == [(answer, None, ()) for _, _, answer in MISUSE]


def test_properties_keep_their_forms(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY)).open()
    put = Operation.SET_DEVICE_PROP_VALUE
    assert wire.ask(put, Property.EXPOSURE_INDEX, data=fields.u16(200))[0] == Response.OK
    assert wire.ask(Operation.GET_DEVICE_PROP_VALUE, Property.EXPOSURE_INDEX)[1] == fields.u16(200)
    assert wire.ask(put, Property.EXPOSURE_INDEX, data=fields.u16(201))[0] == Response.INVALID_DEVICE_PROP_VALUE
    assert wire.ask(put, Property.EXPOSURE_INDEX, data=fields.u32(200))[0] == Response.INVALID_DEVICE_PROP_FORMAT
    assert wire.ask(put, Property.EXPOSURE_INDEX, data=b"")[0] == Response.INVALID_DEVICE_PROP_FORMAT
    assert wire.ask(put, Property.BATTERY_LEVEL, data=b"\x01")[0] == Response.ACCESS_DENIED
    assert wire.ask(put, 0x5FFF, data=b"\x01")[0] == Response.DEVICE_PROP_NOT_SUPPORTED
    # 1/125 s is 80 and f/5.6 is 560 (ISO 15740 units: 0.1 ms and hundredths).
    for code, packed in ((Property.EXPOSURE_TIME, fields.u32(80)), (Property.F_NUMBER, fields.u16(560))):
        assert wire.ask(put, code, data=packed)[0] == Response.OK
        assert wire.ask(Operation.GET_DEVICE_PROP_VALUE, code)[1] == packed


def test_aperture_is_read_only_in_program_mode(start_camera: Any, connect: Any) -> None:
    camera = start_camera(*BODY)
    wire = connect(camera).open()
    assert camera.control("dial", setting="program", value="program")["ok"]
    event = wire.next_event()
    assert (event.code, event.transaction, event.params) == (EventCode.DEVICE_PROP_CHANGED, 0xFFFFFFFF, (0x500E,))
    answer = wire.ask(Operation.SET_DEVICE_PROP_VALUE, Property.F_NUMBER, data=fields.u16(560))
    assert answer[0] == Response.ACCESS_DENIED


def test_a_shot_gives_folders_file_and_completion_under_its_own_transaction(start_camera: Any, connect: Any) -> None:
    camera = start_camera(*BODY)
    wire = connect(camera).open()
    handle = shoot(wire)
    reader = Reader(wire.ask(Operation.GET_OBJECT_INFO, handle)[1])
    storage, kind = reader.u32(), reader.u16()
    assert (storage, kind) == (0x00010001, Format.DNG)
    whole = wire.ask(Operation.GET_OBJECT, handle)[1]
    code, piece, params = wire.ask(Operation.GET_PARTIAL_OBJECT, handle, 1000, 5000)
    assert (code, piece, params) == (Response.OK, whole[1000:6000], (5000,))
    tail = wire.ask(Operation.GET_PARTIAL_OBJECT, handle, len(whole) - 10, 5000)
    assert tail == (Response.OK, whole[-10:], (10,))
    assert wire.ask(Operation.GET_PARTIAL_OBJECT, handle, len(whole) + 1, 1)[0] == Response.INVALID_PARAMETER
    assert wire.ask(Operation.GET_THUMB, handle)[1][:2] == b"\xff\xd8"
    shots = camera.control("shots")["shots"]
    assert [(shot["n"], shot["handle"], shot["body_button"]) for shot in shots] == [(1, handle, False)]


def test_objects_are_listed_protected_and_deleted(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY)).open()
    first, second = shoot(wire), shoot(wire)
    everything = Reader(wire.ask(Operation.GET_OBJECT_HANDLES, 0xFFFFFFFF, 0, 0)[1]).array32()
    files = Reader(wire.ask(Operation.GET_OBJECT_HANDLES, 0xFFFFFFFF, Format.DNG, 0)[1]).array32()
    roots = Reader(wire.ask(Operation.GET_OBJECT_HANDLES, 0x00010001, 0, 0xFFFFFFFF)[1]).array32()
    assert (len(everything), files, len(roots)) == (4, [first, second], 1)
    assert wire.ask(Operation.GET_NUM_OBJECTS, 0xFFFFFFFF, 0, 0)[2] == (4,)
    assert wire.ask(Operation.GET_OBJECT_HANDLES, 0xFFFFFFFF, 0, first)[0] == Response.INVALID_PARENT_OBJECT
    assert wire.ask(Operation.SET_OBJECT_PROTECTION, first, 1)[0] == Response.OK
    assert wire.ask(Operation.DELETE_OBJECT, first)[0] == Response.OBJECT_WRITE_PROTECTED
    assert wire.ask(Operation.DELETE_OBJECT, second)[0] == Response.OK
    assert wire.ask(Operation.GET_OBJECT_INFO, second)[0] == Response.INVALID_OBJECT_HANDLE


def test_a_release_during_the_exposure_is_busy(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY)).open()
    put = Operation.SET_DEVICE_PROP_VALUE
    assert wire.ask(put, Property.EXPOSURE_TIME, data=fields.u32(5000))[0] == Response.OK
    assert wire.ask(Operation.INITIATE_CAPTURE, 0, 0)[0] == Response.OK
    assert wire.ask(Operation.INITIATE_CAPTURE, 0, 0)[0] == Response.DEVICE_BUSY


def test_a_second_initiator_is_told_busy_and_gets_in_later(start_camera: Any, connect: Any) -> None:
    camera = start_camera(*BODY)
    first = connect(camera).open()
    second = connect(camera)
    second.send(InitCommandRequest(bytes(16), "other"))
    assert second.receive() == InitFail(InitFailReason.BUSY)
    first.close()
    for _ in range(100):
        third = connect(camera)
        third.send(InitCommandRequest(bytes(16), "other"))
        if not isinstance(third.receive(), InitFail):
            return
        time.sleep(0.02)
    pytest.fail("the body stayed busy")


def test_an_event_connection_needs_the_right_number(start_camera: Any, connect: Any) -> None:
    camera = start_camera(*BODY)
    wire = connect(camera).init()
    stranger = connect(camera)
    stranger.send(InitEventRequest(wire.connection + 1))
    assert stranger.receive() == InitFail(InitFailReason.REJECTED)


def test_probes_are_answered_on_both_connections(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY)).open()
    wire.send(ProbeRequest())
    assert wire.receive() == ProbeResponse()
    wire.event.sendall(packets.encode(ProbeRequest()))
    assert wire.receive(wire.event) == ProbeResponse()


def test_a_transfer_can_be_cancelled_from_the_command_connection(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY)).open()
    handle = shoot(wire)
    wire.transaction += 1
    number = wire.transaction
    request = OperationRequest(1, Operation.GET_OBJECT, number, (handle,))
    wire.command.sendall(packets.encode(request) + packets.encode(Cancel(number)))
    code, data, _ = wire.answer(number)
    assert code == Response.TRANSACTION_CANCELLED
    assert len(data) < 600_000
    assert wire.ask(Operation.GET_STORAGE_IDS)[0] == Response.OK


def test_a_transfer_can_be_cancelled_from_the_event_connection(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY, "--transfer-mb-s", "0.5")).open()
    handle = shoot(wire)
    wire.transaction += 1
    number = wire.transaction
    wire.send(OperationRequest(1, Operation.GET_OBJECT, number, (handle,)))
    wire.receive()
    wire.event.sendall(packets.encode(Cancel(number)))
    assert wire.answer(number)[0] == Response.TRANSACTION_CANCELLED
    assert wire.ask(Operation.GET_STORAGE_IDS)[0] == Response.OK


def test_the_transfer_rate_is_kept(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY, "--transfer-mb-s", "2")).open()
    handle = shoot(wire)
    started_s = time.monotonic()
    data = wire.ask(Operation.GET_OBJECT, handle)[1]
    assert time.monotonic() - started_s >= len(data) / 2e6


def test_a_set_can_be_cancelled_before_its_data(start_camera: Any, connect: Any) -> None:
    wire = connect(start_camera(*BODY)).open()
    wire.transaction += 1
    wire.send(OperationRequest(2, Operation.SET_DEVICE_PROP_VALUE, wire.transaction, (0x500F,)))
    wire.send(StartData(wire.transaction, 2))
    wire.send(Cancel(wire.transaction))
    assert wire.answer(wire.transaction)[0] == Response.TRANSACTION_CANCELLED


def test_small_sends_are_not_held_back(start_camera: Any, connect: Any) -> None:
    """An initiator with Nagle on must not wait for delayed acknowledgements (about 40 ms each)."""
    wire = connect(start_camera(*BODY)).open()
    wire.command.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 0)
    started_s = time.perf_counter()
    for iso in (100, 200) * 25:
        wire.ask(Operation.SET_DEVICE_PROP_VALUE, Property.EXPOSURE_INDEX, data=fields.u16(iso))
    with_data_s = time.perf_counter() - started_s
    wire.command.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    started_s = time.perf_counter()
    for iso in (100, 200) * 25:
        wire.ask(Operation.SET_DEVICE_PROP_VALUE, Property.EXPOSURE_INDEX, data=fields.u16(iso))
    reference_s = time.perf_counter() - started_s
    assert with_data_s < 10 * reference_s + 0.5


@pytest.mark.parametrize("seed", range(2))
def test_random_bytes_end_in_a_closed_connection(start_camera: Any, connect: Any, seed: int) -> None:
    camera = start_camera(*BODY)
    source = random.Random(seed)
    for _ in range(50):
        with socket.create_connection(("127.0.0.1", camera.port), timeout=10) as sock:
            try:
                sock.sendall(source.randbytes(source.randint(1, 400)))
                sock.shutdown(socket.SHUT_WR)
                while sock.recv(4096):
                    pass
            except ConnectionError:
                pass  # hung up on us in the middle, as it may
            except OSError as error:
                assert error.errno == errno.ENOTCONN
    connect(camera).open()


@pytest.mark.parametrize("body", list(ALL_BODIES))
def test_random_operations_are_answered_by_every_body(start_camera: Any, connect: Any, body: str) -> None:
    wire = connect(start_camera("--body", body)).open()
    source = random.Random(body)
    known: list[int] = [*Operation, *range(0x9100, 0x9130), *range(0x90C0, 0x90CC), *range(0x9150, 0x9162)]
    known += [*range(0x9200, 0x920A), *range(0x9400, 0x9418), *range(0x9480, 0x948A), 0x9706, 0xFFFF]
    values: tuple[int, ...] = (0, 1, 2, 3, 6, 0xFFFFFFFF, 0xFFFFC001, 0xFFFFC002, 0x80000001, 0x02000020, 0x02000031)
    values += (0xD001, 0xD102, 0xD11C, 0xD1B0, 0xD208, 0xD2C2, 0x500D, 0x00010001)
    for _ in range(400):
        code = source.choice(known)
        if code in (Operation.CLOSE_SESSION, Operation.OPEN_SESSION):
            continue
        params = [source.choice((*values, source.getrandbits(32))) for _ in range(source.randint(0, 5))]
        data = source.choice((None, source.randbytes(source.randint(0, 40))))
        assert wire.ask(code, *params, data=data)[0] >= 0x2001
    assert wire.ask(Operation.GET_STORAGE_IDS)[0] == Response.OK


def test_a_packet_that_stops_in_the_middle_frees_the_camera(start_camera: Any, connect: Any) -> None:
    camera = start_camera(*BODY)
    wire = connect(camera).open()
    wire.command.sendall(fields.u32(4000) + fields.u32(6) + os.urandom(7))
    wire.command.settimeout(20)
    assert wire.command.recv(100) == b""
    connect(camera).open()
