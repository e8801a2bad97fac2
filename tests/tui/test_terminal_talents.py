"""What terminals answer, and what follows from it. Answers as the terminals named were seen to give them."""

import os
import pty
import sys
import threading
from pathlib import Path

import pytest

from tethercap.geometry import SizePx
from tethercap.tui import terminal_asks
from tethercap.tui.picture_way import Way, choose_way
from tethercap.tui.terminal_talents import (
    DIRECT_ID,
    SHARED_ID,
    NoticeWay,
    Talents,
    notice_text,
    questions,
    read_answers,
)

KITTY = (
    f"\x1b_Gi={DIRECT_ID};OK\x1b\\\x1b_Gi={SHARED_ID};OK\x1b\\\x1b]99;i=tethercap:p=?;p=title,body\x1b\\\x1b[6;18;9t\x1b[?62;c"
).encode()
KITTY_FAR_AWAY = f"\x1b_Gi={DIRECT_ID};OK\x1b\\\x1b_Gi={SHARED_ID};EBADF:Failed\x1b\\\x1b[6;18;9t\x1b[?62;c".encode()
XTERM_AS_VT340 = b"\x1b[6;15;8t\x1b[?2;0;1000;800S\x1b[?63;1;2;4;6;9;15;16;22;28c"
TMUX = b"\x1b[?1;2c"


ANSWERS = {
    "kitty": (KITTY, Way.KITTY),
    "kitty far away": (KITTY_FAR_AWAY, Way.KITTY),
    "xterm as a VT340": (XTERM_AS_VT340, Way.SIXEL),
    "tmux": (TMUX, Way.HALF_BLOCKS),
    "silence": (b"", Way.HALF_BLOCKS),
}


@pytest.mark.parametrize(("answers", "way"), ANSWERS.values(), ids=ANSWERS)
def test_each_terminal_gets_the_best_it_has(answers: bytes, way: Way) -> None:
    assert choose_way(read_answers(answers), "as the terminal can") is way


def test_memory_is_shared_only_where_the_terminal_could_read_it() -> None:
    assert read_answers(KITTY).kitty_shared
    assert not read_answers(KITTY_FAR_AWAY).kitty_shared


def test_sizes_are_read_the_right_way_round() -> None:
    talents = read_answers(XTERM_AS_VT340)
    assert talents.cell_px == SizePx(8, 15)
    assert talents.sixel_limit_px == SizePx(1000, 800)
    assert read_answers(b"\x1b[6;0;0t\x1b[?1;2c").cell_px is None


@pytest.mark.parametrize("wished", [way.value for way in Way])
def test_a_wish_overrules_every_answer(wished: str) -> None:
    for answers in (KITTY, TMUX, b""):
        assert choose_way(read_answers(answers), wished).value == wished


def test_without_colour_text_carries_the_picture() -> None:
    assert choose_way(read_answers(KITTY), "as the terminal can", colour=False) is Way.HALF_BLOCKS


def test_keys_pressed_meanwhile_are_no_answer() -> None:
    assert read_answers(b"qx4c\x1b[A" + TMUX) == Talents(answered=True)


@pytest.mark.parametrize(
    ("answers", "names", "way"),
    [
        (KITTY, (), NoticeWay.OSC_99),
        (TMUX, ("WezTerm",), NoticeWay.OSC_777),
        (TMUX, ("iTerm.app", "xterm-256color"), NoticeWay.OSC_9),
        (TMUX, ("foot-extra",), NoticeWay.OSC_777),
        (TMUX, ("xterm-256color",), NoticeWay.NONE),
    ],
)
def test_notices_by_answer_then_by_name(answers: bytes, names: tuple[str, ...], way: NoticeWay) -> None:
    assert read_answers(answers, terminal_names=names).notices is way


@pytest.mark.parametrize("way", [NoticeWay.OSC_99, NoticeWay.OSC_777, NoticeWay.OSC_9])
def test_a_notice_cannot_end_its_own_command(way: NoticeWay) -> None:
    text = notice_text(way, "ro\x07ll;1", "fra\x1b\\me")
    assert "roll,1" in text
    assert text.count("\x1b\\") == text.count("\x1b]")
    assert "\x07" not in text
    assert notice_text(NoticeWay.NONE, "a", "b") == ""


def test_the_question_that_is_always_answered_comes_last() -> None:
    assert questions(None).endswith("\x1b[c")
    assert f"i={SHARED_ID}" not in questions(None)
    assert f"i={SHARED_ID}" in questions("bmFtZQ==")


class OtherEnd:
    """A pty whose far end answers, or stays silent, put in place of the standard input and error."""

    def __init__(self, answers: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
        self.ours, theirs = pty.openpty()
        self.asked = b""
        self.file = os.fdopen(theirs, "r+b", buffering=0)
        monkeypatch.setattr(sys, "stdin", self.file)
        monkeypatch.setattr(sys, "stderr", self.file)
        self._thread = threading.Thread(target=self._answer, args=(answers,))
        self._thread.start()

    def _answer(self, answers: bytes) -> None:
        while not self.asked.endswith(b"\x1b[c"):
            self.asked += os.read(self.ours, 4096)
        if answers:
            os.write(self.ours, answers)

    def close(self) -> None:
        self._thread.join(5)
        self.file.close()
        os.close(self.ours)


@pytest.mark.parametrize("answers", [KITTY, b""], ids=["answers", "silence"])
def test_asking_takes_what_comes_and_leaves_no_trial_behind(
    answers: bytes, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv("TEXTUAL_DRIVER", raising=False)
    monkeypatch.setattr(terminal_asks, "SHARED_MEMORY", tmp_path)
    far = OtherEnd(answers, monkeypatch)
    try:
        talents = terminal_asks.ask_terminal(5.0 if answers else 0.05)
    finally:
        far.close()
    assert talents.answered is bool(answers)
    assert talents.kitty_shared is bool(answers)
    assert f"i={SHARED_ID}".encode() in far.asked
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("inside", [True, False])
def test_inside_tmux_pictures_are_text_unless_wished_for(inside: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TEXTUAL_DRIVER", raising=False)
    monkeypatch.delenv("TMUX", raising=False)
    if inside:
        monkeypatch.setenv("TMUX", "/tmp/tmux-0/default,1,0")
    far = OtherEnd(XTERM_AS_VT340, monkeypatch)
    try:
        talents = terminal_asks.ask_terminal(5.0)
    finally:
        far.close()
    assert talents.answered
    assert choose_way(talents, "as the terminal can") is (Way.HALF_BLOCKS if inside else Way.SIXEL)
    assert choose_way(talents, "sixel") is Way.SIXEL


def test_where_there_is_no_terminal_nothing_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb")
    assert terminal_asks.ask_terminal() == Talents()
