"""Pictures on the board: newest wins, and a torn one is never handed out."""

from __future__ import annotations

import struct

import pytest

from tethercap.camera.live_board import BOARD_BYTES, PIECE_BYTES, PIECE_SLOTS, SLOT_BYTES, SLOTS, LiveBoard


@pytest.fixture
def board() -> LiveBoard:
    made = LiveBoard(bytearray(BOARD_BYTES))
    made.clear()
    return made


def test_an_empty_board_has_no_picture(board: LiveBoard) -> None:
    assert board.newest() is None
    assert board.doing() is None


def test_the_newest_wins(board: LiveBoard) -> None:
    for number in range(3 * SLOTS):
        board.publish(number, number / 30, b"picture %d" % number)
    newest = board.newest()
    assert newest is not None
    assert (newest.sequence, newest.jpeg) == (3 * SLOTS - 1, b"picture %d" % (3 * SLOTS - 1))
    assert newest.taken_at_s == pytest.approx((3 * SLOTS - 1) / 30)


def test_only_newer_ones_are_handed_out(board: LiveBoard) -> None:
    board.publish(7, 1.0, b"seven")
    assert board.newest(6) is not None
    assert board.newest(7) is None
    assert board.newest(8) is None


def test_a_picture_that_is_being_overwritten_is_not_handed_out() -> None:
    memory = bytearray(BOARD_BYTES)
    board = LiveBoard(memory)
    board.clear()
    board.publish(0, 1.0, b"whole")
    # What another process sees while slot 0 is written anew: the slot's number is taken back first.
    struct.pack_into("=q", memory, 256, -1)
    assert board.newest() is None


def test_a_picture_too_large_is_counted_and_left_out(board: LiveBoard) -> None:
    board.publish(0, 1.0, b"good")
    board.publish(1, 2.0, bytes(SLOT_BYTES + 1))
    newest = board.newest()
    assert newest is not None
    assert newest.sequence == 0
    assert board.too_large == 1


def test_pieces_do_not_touch_pictures_nor_each_other(board: LiveBoard) -> None:
    board.publish(3, 1.0, b"picture")
    for slot in range(PIECE_SLOTS):
        board.piece(slot)[:] = bytes([slot + 1]) * PIECE_BYTES
    newest = board.newest()
    assert newest is not None
    assert newest.jpeg == b"picture"
    assert [board.piece(slot)[0] for slot in range(PIECE_SLOTS)] == [1, 2, 3, 4]


def test_what_the_driver_does_can_be_seen(board: LiveBoard) -> None:
    board.busy("take the picture", 10.0, 25.0)
    assert board.doing() == ("take the picture", 10.0, 25.0)
    board.busy("a" * 200, 1.0, 2.0)
    doing = board.doing()
    assert doing is not None
    assert doing[0] == "a" * 47
    board.idle()
    assert board.doing() is None
