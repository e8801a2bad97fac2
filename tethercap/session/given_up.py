"""Releases whose picture did not come in time, and which of them a picture is of that comes after all."""

from dataclasses import dataclass, field

from tethercap.camera.base import CameraFile
from tethercap.session.shot import Shot

CLOCK_SLACK_S = 2.5
"""Cameras tell the time of exposure in whole seconds, and some take a while to open the shutter."""
_MOST_REMEMBERED = 4


@dataclass(slots=True)
class GivenUp:
    """Shots that were given up. Lives in the runner's thread only."""

    _shots: list[Shot] = field(default_factory=list)
    _camera_lead_s: float | None = None
    """The camera's clock at an exposure, less ours at its release."""

    def add(self, shot: Shot) -> None:
        """Remember a shot without a picture."""
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
            The one under way, or one given up, which is then forgotten; None for a picture that nobody asked for. Where
            the clocks say nothing the one under way comes first: a picture that did not come seldom comes.
        """
        if not self._shots:
            return under_way
        released_at_s = self._released_at_s(file)
        if released_at_s is None:
            found = under_way or self._shots[0]
        else:
            known = [*self._shots, *([under_way] if under_way is not None else [])]
            found = min(known, key=lambda shot: abs(shot.fired_at_s - released_at_s))
            if abs(found.fired_at_s - released_at_s) > CLOCK_SLACK_S:
                return under_way
        if found is not under_way:
            self._shots = [shot for shot in self._shots if shot is not found]
        return found

    def _released_at_s(self, file: CameraFile) -> float | None:
        if file.taken_at_s is None or self._camera_lead_s is None:
            return None
        return file.taken_at_s - self._camera_lead_s
