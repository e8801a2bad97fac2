"""Messages between widgets, screens and the program: facts, in the past tense, or one thing asked of the program."""

from textual.message import Message


class EventsArrived(Message):
    """Session events wait in the mailbox."""


class Ring(Message):
    """A bell pattern is wanted."""

    def __init__(self, count: int) -> None:
        super().__init__()
        self.count = count
        """Bells; 1 seated, 2 filed, 3 held, 4 strip done."""


class Told(Message):
    """Something happened that is worth a notice on the desktop."""

    def __init__(self, title: str, body: str) -> None:
        super().__init__()
        self.title, self.body = title, body


class RunnerFinished(Message):
    """The runner's thread has ended."""

    def __init__(self, error: BaseException | None) -> None:
        super().__init__()
        self.error = error
        """What ended it early; None after a stop."""
