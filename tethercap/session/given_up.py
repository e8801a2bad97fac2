"""Releases whose picture did not come in time, and which of them a picture is of that comes after all."""

from collections import deque
from dataclasses import dataclass, field

import numpy as np

from tethercap.camera.base import CameraFile
from tethercap.session.shot import Shot

CLOCK_SLACK_S = 2.5
"""Cameras tell the time of exposure in whole seconds, and some take a while to open the shutter."""
_MOST_REMEMBERED = 8
_SAME_LEAD_S = 1.5
"""Leads of the camera's clock that differ by less are the same: whole seconds, and the way to the shutter."""


@dataclass(slots=True)
class GivenUp:
    """Shots that were given up. Lives in the runner's thread only."""

    _shots: list[Shot] = field(default_factory=list)
    """Those that still have no picture."""
    _released: deque[Shot] = field(default_factory=lambda: deque(maxlen=_MOST_REMEMBERED))
    _taken_at_s: deque[float] = field(default_factory=lambda: deque(maxlen=_MOST_REMEMBERED))
    """Times of exposure of the last pictures, by the camera's clock."""
    _camera_lead_s: float | None = None
    """The camera's clock at an exposure, less ours at its release."""

    def released(self, shot: Shot) -> None:
        """Remember a shot that was just fired."""
        self._released.append(shot)

    def add(self, shot: Shot) -> None:
        """Remember that a shot has no picture."""
        self._shots = [*self._shots, shot][-_MOST_REMEMBERED:]

    def learn(self, file: CameraFile, shot: Shot) -> None:
        """Compare the clocks on a picture that came as it should."""
        if file.taken_at_s is not None and not self._shots:
            self._camera_lead_s = file.taken_at_s - shot.fired_at_s

    def owner(self, file: CameraFile, under_way: Shot | None) -> Shot | None:
        """Tell which release a file is of.

        Parameters
        ----------
        file : CameraFile
            Just announced.
        under_way : Shot or None
            The shot that waits for its files.

        Returns
        -------
        Shot or None
            The one under way, or an earlier one, which is then no longer waited for; None for a picture that nobody
            asked for. Where the clocks say nothing the one under way comes first: a picture that did not come seldom
            comes.
        """
        if file.taken_at_s is not None:
            self._taken_at_s.append(file.taken_at_s)
        if not self._shots:
            return under_way
        released_at_s = self._released_at_s(file)
        if released_at_s is None:
            found = under_way or self._shots[0]
        else:
            known = [*self._shots, *self._released, *([under_way] if under_way is not None else [])]
            found = min(known, key=lambda shot: abs(shot.fired_at_s - released_at_s))
            if abs(found.fired_at_s - released_at_s) > CLOCK_SLACK_S:
                return under_way
        if found is under_way:
            return found
        if any(shot is found for shot in self._shots):
            self._shots = [shot for shot in self._shots if shot is not found]
            return found
        # Its own place was taken by a picture that had come late, so that one is missing no longer.
        self._shots.pop(0)
        return found.again()

    def _released_at_s(self, file: CameraFile) -> float | None:
        lead_s = self._lead_s()
        if file.taken_at_s is None or lead_s is None:
            return None
        return file.taken_at_s - lead_s

    def _lead_s(self) -> float | None:
        """The camera's lead: as learned, or the one under which most pictures have a release, if it stands alone."""
        if self._camera_lead_s is not None or not self._taken_at_s or not self._released:
            return self._camera_lead_s
        fired_at_s = np.array([shot.fired_at_s for shot in self._released])
        leads = np.subtract.outer(np.array(self._taken_at_s), fired_at_s)
        agree = np.abs(leads[:, :, np.newaxis] - leads.ravel()) < _SAME_LEAD_S
        votes = agree.any(axis=1).sum(axis=0)
        best = leads.ravel()[votes == votes.max()]
        if votes.max() < 2 or np.ptp(best) > 2 * _SAME_LEAD_S:  # a single picture fits any release
            return None
        return float(np.median(best))
