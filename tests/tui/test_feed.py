"""The way of a live picture: newest wins, one at a time, rests when told."""

import threading
from collections.abc import Iterator

import pytest

from tests.tui.drawn_film import live_frame
from tethercap.tui.cells import Depth
from tethercap.tui.feed import LiveFeed
from tethercap.tui.overlay import Drawing, Ink
from tethercap.tui.quality import QualityLadder
from tethercap.tui.shown import Shown


class Terminal:
    """Receives pictures and lets a test wait for them."""

    def __init__(self) -> None:
        self.shown: list[Shown] = []
        self._arrived = threading.Semaphore(0)

    def deliver(self, shown: Shown) -> None:
        self.shown.append(shown)
        self._arrived.release()

    def wait(self, timeout_s: float = 3.0) -> bool:
        return self._arrived.acquire(timeout=timeout_s)


@pytest.fixture
def terminal() -> Terminal:
    return Terminal()


@pytest.fixture
def feed(terminal: Terminal) -> Iterator[LiveFeed]:
    feed = LiveFeed(terminal.deliver, ladder=QualityLadder(), ink=Ink(), answer_deadline_s=30)
    feed.start()
    yield feed
    feed.stop()


def test_a_picture_comes_out_in_the_size_asked_for(feed: LiveFeed, terminal: Terminal) -> None:
    feed.resize(20, 60)
    feed.offer(live_frame(7, 0.0), Drawing())
    assert terminal.wait()
    shown = terminal.shown[0]
    assert (len(shown.lines), shown.grid.shape, shown.sequence, shown.depth) == (20, (20, 60), 7, Depth.BITS_15)


def test_nothing_goes_out_before_the_last_was_shown_and_then_only_the_newest(
    feed: LiveFeed, terminal: Terminal
) -> None:
    feed.resize(10, 30)
    feed.offer(live_frame(1, 0.0), Drawing())
    assert terminal.wait()
    for sequence in (2, 3, 4):
        feed.offer(live_frame(sequence, 0.0), Drawing())
    assert not terminal.wait(0.1)
    feed.acknowledged()
    assert terminal.wait()
    assert [shown.sequence for shown in terminal.shown] == [1, 4]


def test_a_terminal_that_never_answers_still_gets_pictures(terminal: Terminal) -> None:
    feed = LiveFeed(terminal.deliver, ladder=QualityLadder(), ink=Ink(), answer_deadline_s=0.05)
    feed.start()
    feed.resize(10, 30)
    for sequence in (1, 2):
        feed.offer(live_frame(sequence, 0.0), Drawing())
        assert terminal.wait()
    feed.stop()


def test_nothing_is_drawn_while_it_rests_and_the_last_picture_comes_back(feed: LiveFeed, terminal: Terminal) -> None:
    feed.resize(10, 30)
    feed.offer(live_frame(1, 0.0), Drawing())
    assert terminal.wait()
    feed.pause(True)
    feed.offer(live_frame(2, 0.0), Drawing())
    assert not terminal.wait(0.1)
    feed.pause(False)
    assert terminal.wait()
    assert terminal.shown[-1].sequence == 2


def test_another_size_draws_the_last_picture_again(feed: LiveFeed, terminal: Terminal) -> None:
    feed.resize(10, 30)
    feed.offer(live_frame(1, 0.0), Drawing())
    assert terminal.wait()
    feed.resize(12, 40)
    assert terminal.wait()
    assert terminal.shown[-1].grid.shape == (12, 40)


def test_no_room_draws_nothing(feed: LiveFeed, terminal: Terminal) -> None:
    feed.resize(0, 30)
    feed.offer(live_frame(1, 0.0), Drawing())
    assert not terminal.wait(0.1)


def test_lag_makes_pictures_coarser(feed: LiveFeed, terminal: Terminal, monkeypatch: pytest.MonkeyPatch) -> None:
    feed.resize(10, 30)
    feed.ladder.slow_s = 0.0
    for sequence in range(feed.ladder.slow_to_step + 1):
        feed.offer(live_frame(sequence, 0.0), Drawing())
        assert terminal.wait()
        feed.acknowledged()
    feed.offer(live_frame(99, 0.0), Drawing())
    assert terminal.wait()
    assert terminal.shown[-1].depth is Depth.PALETTE


def test_stopping_twice_and_before_any_picture_is_fine(terminal: Terminal) -> None:
    feed = LiveFeed(terminal.deliver, ladder=QualityLadder(), ink=Ink())
    feed.start()
    feed.stop()
    feed.stop()
