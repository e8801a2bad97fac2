"""What a person may choose about a run."""

from dataclasses import dataclass

from tethercap.session.events import Mode


@dataclass(frozen=True, slots=True, kw_only=True)
class RunnerOptions:
    """Choices, each with its default."""

    mode: Mode = Mode.BY_KEY
    expected_files: int = 1
    """Files a shot brings: 1 for RAW alone, 2 for RAW and JPEG."""
    takes_by_itself: int = 2
    """Hands-free takes of one frame that may fail before a person has to look."""
    skip_blank: bool = False
    """Note unexposed frames as blank and go on, instead of asking."""
    blank_after_s: float = 1.0
    """How long a blank frame must lie still before it is noted."""
    file_deadline_s: float = 30.0
    """After the exposure, how long the camera may take to announce a file."""
    moving_above_mm_s: float = 3.0
    """Faster than this is moving, slower is settling."""
    strip_after_pictures: int = 4
    """Live pictures in a row, at rest, that must show film (or none) before a strip counts as put in (or taken out)."""
    live_wait_s: float = 0.01
    """Longest wait for a live picture in one turn of the loop."""
    retry_wait_s: float = 1.0
    """Between two tries to get a lost camera back."""
