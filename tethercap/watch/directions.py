"""Which way the picture's directions are for the person who pulls the strip, and what to tell them."""

from dataclasses import dataclass

from tethercap.watch.sighting import Decision, ReasonCode, Sighting


@dataclass(frozen=True, slots=True, kw_only=True)
class Directions:
    """Words for the picture's directions, as the person at the holder sees them. Set once for a rig."""

    right: str = "to the right"
    """Where film goes that moves to the right in the picture."""
    left: str = "to the left"
    down: str = "towards you"
    up: str = "away from you"
    mirrored: bool = False
    """The picture is a mirror image of what the person sees: clockwise in one is anticlockwise in the other."""

    @classmethod
    def for_camera(cls, place: str) -> "Directions":
        """Give the words for a camera "above", "below" or "beside" the film, its top edge away from the person.

        Raises
        ------
        ValueError
            For any other place.
        """
        match place:
            case "above":
                return cls()
            case "below":
                return cls(right="to the left", left="to the right", mirrored=True)
            case "beside":
                return cls(down="down", up="up")
        raise ValueError(f'a camera is "above", "below" or "beside" the film, not "{place}"')


_NOTHING = Directions()


def sentence_for(sighting: Sighting, directions: Directions = _NOTHING) -> str:
    """Say in one line what the person should do now.

    Parameters
    ----------
    sighting : Sighting
        What was seen.
    directions : Directions
        Their words.
    """
    verdict, alignment = sighting.verdict, sighting.alignment
    if verdict.decision is Decision.ACCEPT:
        return "hold it there" if not sighting.ready else "taking it"
    if alignment is None or verdict.decision is Decision.CANNOT_TELL:
        return f"cannot tell: {verdict.reasons[0].text}" if verdict.reasons else "cannot tell"
    codes = {reason.code for reason in verdict.reasons}
    asked = []
    if ReasonCode.OFF_CENTRE in codes:
        asked.append(_move(alignment.offset.x_mm, alignment.offset.y_mm, directions))
    if ReasonCode.TILTED in codes:
        clockwise = (alignment.tilt_deg < 0) != directions.mirrored
        asked.append(f"turn it {abs(alignment.tilt_deg):.1f} degrees {'clockwise' if clockwise else 'anticlockwise'}")
    if asked:
        return ", ".join(asked)
    if ReasonCode.MOVING in codes:
        return "let it come to rest"
    return verdict.reasons[0].text if verdict.reasons else "hold"


def _move(x_mm: float, y_mm: float, directions: Directions) -> str:
    """The film goes against the offset; the larger way first, the other only if it matters as well."""
    ways = [
        (abs(x_mm), directions.left if x_mm > 0 else directions.right),
        (abs(y_mm), directions.up if y_mm > 0 else directions.down),
    ]
    ways.sort(reverse=True)
    parts = [f"{size:.1f} mm {way}" for size, way in ways if size >= 0.15]
    return "move the film " + " and ".join(parts)
