"""Everything that can be found about a picture, in one table."""

from tethercap.check.findings import FindingKind, Severity

UNREADABLE = FindingKind(
    "unreadable",
    Severity.FAILURE,
    "The file cannot be opened as a picture.",
    "It is damaged or was cut short on its way. The copy on the camera's card is untouched: pull it again, "
    "and if that fails too, take the frame again.",
)
NOT_RAW = FindingKind(
    "not-raw",
    Severity.WARNING,
    "The camera sent a JPEG, not a RAW.",
    "The picture is kept, but a JPEG has lost most of what a positive is made from. "
    "Set the camera's image format to RAW.",
)
WRONG_SIZE = FindingKind(
    "wrong-size",
    Severity.WARNING,
    "The picture's size differs from the roll's other pictures.",
    "The image format or crop mode was probably changed on the camera. Put it back and take the frame again.",
)
SAME_PICTURE = FindingKind(
    "same-picture",
    Severity.FAILURE,
    "The camera delivered a picture that is already in the roll.",
    "Some bodies hand out the last picture again after an error. Take the frame again.",
)
OLDER_PICTURE = FindingKind(
    "older-picture",
    Severity.FAILURE,
    "The picture says that it was taken before the roll's last one.",
    "Some bodies hand out a left-over picture after an error: take the frame again. If the camera's clock was set "
    "back, force the shot once.",
)
ANOTHER_MOMENT = FindingKind(
    "another-moment",
    Severity.FAILURE,
    "The picture does not show what lay in the holder when the shutter was released.",
    "The camera delivered the picture of another release, or the film was pulled on too early. Take the frame again; "
    "force it if the picture is right.",
)
OFF_CENTRE = FindingKind(
    "off-centre",
    Severity.FAILURE,
    "The frame is off centre in the picture taken.",
    "The film slipped between the verdict and the exposure. Seat the frame and take it again.",
)
TILTED = FindingKind(
    "tilted",
    Severity.FAILURE,
    "The frame is tilted in the picture taken.",
    "The film turned between the verdict and the exposure. Square it up and take it again.",
)
CUT_OFF = FindingKind(
    "cut-off",
    Severity.FAILURE,
    "Part of the frame lies outside the picture taken.",
    "Move the film, or move the camera away a little if the frame fills the picture.",
)
KEYSTONE = FindingKind(
    "keystone",
    Severity.WARNING,
    "Opposite edges of the frame are not parallel.",
    "The camera does not look straight at the film. Level the camera against the holder, a mirror on the holder helps.",
)
EDGES_NOT_CONFIRMED = FindingKind(
    "edges-not-confirmed",
    Severity.WARNING,
    "The frame's edges could not be found in the picture taken.",
    "The frame may be unexposed or very dark at its borders. Look at the picture before the film goes away.",
)
MOTION_BLUR = FindingKind(
    "motion-blur",
    Severity.FAILURE,
    "The film moved during the exposure.",
    "Detail is smeared along the film. Let the film lie still and take the frame again, or use a shorter time.",
)
MAYBE_SMEARED = FindingKind(
    "maybe-smeared",
    Severity.WARNING,
    "Fine detail is missing along one direction.",
    "That can be movement, or a subject with streaks of its own, like water or grass. Without live view it "
    "cannot be told: look at the picture large.",
)
CLIPPED = FindingKind(
    "clipped",
    Severity.FAILURE,
    "Much of the frame is overexposed: a channel is at its limit.",
    "What is at the limit is lost. Use a shorter time and take the frame again.",
)
CLIPPED_A_LITTLE = FindingKind(
    "clipped-a-little",
    Severity.WARNING,
    "Some of the frame is overexposed: a channel is at its limit.",
    "A shorter time by a third or two thirds of a stop keeps it.",
)
UNDEREXPOSED = FindingKind(
    "underexposed",
    Severity.WARNING,
    "The brightest part of the frame uses little of the camera's range.",
    "A longer time gives cleaner shadows; a negative is exposed so that its clear base comes near the limit.",
)
FORCED = FindingKind(
    "forced",
    Severity.NOTE,
    "The shot was forced from the keyboard.",
    "The frame was not judged centred, square and still when the key was pressed.",
)
NOT_WATCHED = FindingKind(
    "not-watched",
    Severity.NOTE,
    "The shot was taken without live view.",
    "The camera sends no live picture; only the picture itself was checked.",
)

REGISTRY: dict[str, FindingKind] = {
    kind.code: kind
    for kind in (
        UNREADABLE, NOT_RAW, WRONG_SIZE, SAME_PICTURE, OLDER_PICTURE, ANOTHER_MOMENT, OFF_CENTRE, TILTED, CUT_OFF,
        KEYSTONE, EDGES_NOT_CONFIRMED, MOTION_BLUR, MAYBE_SMEARED, CLIPPED, CLIPPED_A_LITTLE, UNDEREXPOSED, FORCED,
        NOT_WATCHED,
    )
}  # fmt: skip
"""Code -> kind, for screens, sidecars, help and tests."""
