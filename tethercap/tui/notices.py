"""Which events are worth a notice on the desktop, for a person who looks at another window; pure."""

from typing import NamedTuple

from tethercap.session import events
from tethercap.session.events import SessionEvent


class Notice(NamedTuple):
    """Something to say on the desktop."""

    title: str
    body: str


def notice_of(event: SessionEvent, roll_id: str) -> Notice | None:
    """What to say about an event; mostly nothing. What needs a hand is said, and what is done."""
    title = f"roll {roll_id}"
    match event:
        case events.FrameFiled() if not event.accepted:
            return Notice(title, f"Frame {event.frame_id} has to be taken again.")
        case events.FrameHeld() if event.sentences:
            return Notice(title, f"Frame {event.frame_id}: {' '.join(event.sentences)}")
        case events.StripEnded() if event.frames_filed:
            many = "1 frame" if event.frames_filed == 1 else f"{event.frames_filed} frames"
            return Notice(title, f"Strip {event.strip} is done, {many} filed.")
        case events.CameraTroubled() | events.StorageTroubled():
            return Notice(title, event.error.what)
        case events.CameraCameBack():
            return Notice(title, "The camera is back.")
        case events.Advised():
            return Notice(title, event.sentence)
        case _:
            return None
