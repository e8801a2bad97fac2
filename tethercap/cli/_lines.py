"""A run told in plain lines, one for each thing that happened: for screen readers, logs and the headless demo."""

from collections.abc import Callable

from tethercap.check.findings import Severity
from tethercap.session import events
from tethercap.session.events import SessionEvent, Signal


def line_for(event: SessionEvent) -> str | None:
    """Put an event into one line; None for those that come too often to be told."""
    match event:
        case events.StripStarted(strip):
            return f"strip {strip} is in the holder"
        case events.StripEnded(strip, frames_filed):
            return f"strip {strip} has left the holder, {frames_filed} frames filed from it"
        case events.ShotFired(frame_id, take, fired_by, _):
            again = f", take {take}" if take > 1 else ""
            return f"frame {frame_id}{again}: exposing ({fired_by.value})"
        case events.ShotChecked(frame_id, _, findings):
            said = [found for found in findings.findings if found.kind.severity is not Severity.NOTE]
            return f"frame {frame_id}: " + "; ".join(found.kind.sentence for found in said) if said else None
        case events.FrameFiled():
            outcome = "filed" if event.accepted else "kept, not accepted"
            rate = event.size_bytes / 1e6
            return f"frame {event.frame_id}: {outcome} as {event.path.name}, {rate:.1f} MB in {event.pulled_in_s:.1f} s"
        case events.FrameHeld(frame_id, reasons, sentences):
            why = " ".join(sentences) or "; ".join(reason.text for reason in reasons)
            return f"frame {frame_id}: held. {why}"
        case events.FireRefused(frame_id, reasons):
            return f"frame {frame_id}: not fired: " + "; ".join(reason.text for reason in reasons)
        case events.FrameSkipped(frame_id, why):
            return f"frame {frame_id}: {why}"
        case events.PositiveMade(frame_id, _, positive, _, seconds):
            return f"frame {frame_id}: positive {positive.name} after {seconds:.1f} s"
        case _:
            return _trouble_line(event)


def _trouble_line(event: SessionEvent) -> str | None:
    match event:
        case events.ConversionFailed(frame_id, _, error):
            return f"frame {frame_id}: not converted. {error}"
        case events.CameraTroubled(error, recovering):
            return f"camera: {error}" + (" Trying to get it back." if recovering else "")
        case events.CameraCameBack(after_s):
            return f"camera: back after {after_s:.1f} s"
        case events.StorageTroubled(frame_id, error):
            return f"frame {frame_id}: could not be stored. {error}"
        case events.CannotWatch(why):
            return f"camera: {why} Frames are taken by key alone."
        case events.RunEnded(frames_filed, why):
            return f"ended ({why}), {frames_filed} frames filed"
        case _:
            return None


def reporter(write: Callable[[str], None], *, bell: bool = False) -> Callable[[SessionEvent], None]:
    """Make an `on_event` that writes a line per event; with `bell` it also rings where a sound helps."""
    rings = {Signal.SEATED: "\a", Signal.FILED: "\a\a", Signal.HELD: "\a", Signal.STRIP_DONE: "\a\a\a"}

    def on_event(event: SessionEvent) -> None:
        if isinstance(event, events.Signalled) and bell:
            write(rings[event.signal])
        line = line_for(event)
        if line is not None:
            write(line + "\n")

    return on_event
