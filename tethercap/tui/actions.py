"""Everything a person can do, said once: keys, footer, help, palette and the README's table are made from this."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from textual.binding import Binding, BindingType


class Where(StrEnum):
    """The screen on which an action works."""

    EVERYWHERE = "everywhere"
    CAPTURE = "capture"
    START = "start"
    SET_UP = "set-up"
    ROLL = "roll"
    FRAME = "frame"
    CONVERT = "convert"


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One thing a person can do. Its id is the name in the key file, and of the method `action_<id>` of its screen."""

    id: str
    where: Where
    label: str
    key: str
    """Default keys, comma-separated, in Textual's names."""
    tooltip: str
    """One line."""
    help: str
    """A sentence or three: what it does, and when one wants it."""
    rank: int = 50
    """Order in the row of keys; small ones are shown first, 99 is not shown there."""


def _capture(id: str, label: str, key: str, tooltip: str, help: str, rank: int = 50) -> Action:
    return Action(id=id, where=Where.CAPTURE, label=label, key=key, tooltip=tooltip, help=help, rank=rank)


def _roll(id: str, label: str, key: str, tooltip: str, help: str, rank: int = 50) -> Action:
    return Action(id=id, where=Where.ROLL, label=label, key=key, tooltip=tooltip, help=help, rank=rank)


def _frame(id: str, label: str, key: str, tooltip: str, help: str, rank: int = 50) -> Action:
    return Action(id=id, where=Where.FRAME, label=label, key=key, tooltip=tooltip, help=help, rank=rank)


def _everywhere(id: str, label: str, key: str, tooltip: str, help: str, rank: int = 50) -> Action:
    return Action(id=id, where=Where.EVERYWHERE, label=label, key=key, tooltip=tooltip, help=help, rank=rank)


ACTIONS: tuple[Action, ...] = (
    _capture(
        "fire",
        "Fire",
        "space",
        "Take the frame that lies in the holder.",
        "Takes the frame if it lies centred, square and still. Otherwise says what is in the way and takes nothing. "
        "A pedal that sends this key works as well.",
        1,
    ),
    _capture(
        "force",
        "Force",
        "x",
        "Take the frame as it lies, whatever the verdict.",
        "For frames whose edges cannot be seen: a night scene, a fogged end. The record says so.",
        2,
    ),
    _capture(
        "hands_free",
        "Hands-free",
        "h",
        "Let the program fire as soon as a frame lies right; again: back to the key.",
        "Pull the film with both hands: each frame is taken once it lies right. The key still works.",
        3,
    ),
    _capture(
        "pause",
        "Pause",
        "p",
        "Stop watching, let the camera rest; again: go on.",
        "Nothing is fired while paused. Live view rests, which keeps a camera cool in a long break.",
        6,
    ),
    _capture(
        "retake",
        "Again",
        "r",
        "Take one frame once more; both takes are kept.",
        "Asks for the frame, takes it when it lies in the holder, then comes back to where the roll stands. "
        "Nothing is overwritten.",
        4,
    ),
    _capture(
        "skip",
        "Leave out",
        "s",
        "Leave this frame out and go on to the next number.",
        "For a frame that is not wanted. Asks why, and the reason goes into the record.",
        7,
    ),
    _capture(
        "blank",
        "Blank",
        "b",
        "Note this frame as unexposed and go on.",
        "For unexposed or wholly fogged frames. The number is used up, no picture is filed.",
        8,
    ),
    _capture(
        "go_to",
        "Number",
        "g",
        "Say which frame number lies in the holder.",
        "Numbers are those on the film's edge: 00, 0, 1 ... 36, 36A. The next picture gets the number you give.",
        5,
    ),
    _capture(
        "exposure",
        "Exposure",
        "e",
        "Change time, aperture or ISO of the camera.",
        "Left and right choose what, up and down change it; each change is read back from the camera.",
        9,
    ),
    _capture(
        "pull_again",
        "Pull again",
        "u",
        "Fetch the last picture from the camera once more.",
        "After the disk or the cable failed: the picture is still on the camera. Make room or plug in, then press.",
        60,
    ),
    _capture(
        "drawing",
        "Drawing",
        "d",
        "Draw more or less over the picture.",
        "Goes round: frame, target and way; frame alone; nothing but the picture.",
        12,
    ),
    _capture(
        "peaking",
        "Peaking",
        "k",
        "Paint fine detail in red, for focusing.",
        "The sharpest four percent of the picture, judged at live view's full size. Focus until grain lights up.",
        10,
    ),
    _capture(
        "corners",
        "Corners",
        "z",
        "Show the frame's four corners and its middle at full size.",
        "Live-view pixels one to one, to see whether corners are sharp and edges are where they are drawn.",
        11,
    ),
    _capture(
        "large",
        "Large",
        "w",
        "Give the picture the whole width; again: with figures.",
        "Hides the figures beside the picture. The verdict stays.",
        13,
    ),
    _capture(
        "sound",
        "Sound",
        "m",
        "Bells off, or on again.",
        "One bell: the frame lies right. Two: filed. Three: held. Four: the strip is done.",
        14,
    ),
    Action(
        id="next_step",
        where=Where.SET_UP,
        label="Next step",
        key="space,tab",
        tooltip="Open the next step.",
        help="Steps can be taken in any order; their numbers are keys too. A tick says that a step is good.",
        rank=1,
    ),
    Action(
        id="set_up_corners",
        where=Where.SET_UP,
        label="Corners",
        key="z",
        tooltip="Show the frame's four corners and its middle at full size.",
        help="Live-view pixels one to one, for focus and for seeing that the film lies flat.",
        rank=2,
    ),
    Action(
        id="set_up_exposure",
        where=Where.SET_UP,
        label="Exposure",
        key="e",
        tooltip="Change time, aperture or ISO of the camera.",
        help="Left and right choose what, up and down change it; each change is read back from the camera.",
        rank=3,
    ),
    Action(
        id="forget_focus",
        where=Where.SET_UP,
        label="Focus anew",
        key="f",
        tooltip="Forget the best focus so far and begin again.",
        help="After changing film, aperture or distance: shares are of the best that was reached since.",
        rank=4,
    ),
    Action(
        id="look_at_roll",
        where=Where.START,
        label="Look at roll",
        key="o",
        tooltip="Look at the marked roll instead of going on with it.",
        help="Shows its frames, findings and takes; nothing needs to be connected.",
        rank=1,
    ),
    Action(
        id="look_again",
        where=Where.START,
        label="Look again",
        key="r",
        tooltip="Look for cameras and rolls again.",
        help="After plugging in or switching on.",
        rank=2,
    ),
    _roll(
        "open_frame",
        "Open",
        "enter",
        "Open the marked frame large.",
        "With zoom down to single pixels, the RAW's histogram per channel and a map of sharpness.",
        1,
    ),
    _roll(
        "next_take",
        "Take",
        "c",
        "Let the next take stand for this frame.",
        "Goes round through the frame's takes. The one in brackets is used for positives and contact sheet.",
        2,
    ),
    _roll(
        "sieve",
        "Show",
        "f",
        "Show all frames, or only some.",
        "Goes round: all frames; to take again; with findings; without positive.",
        3,
    ),
    _roll(
        "negative",
        "Negative",
        "v",
        "Show negatives, or positives again.",
        "Negatives are made from the RAW files themselves, as the film looks on the light panel.",
        4,
    ),
    _roll(
        "roll_blank",
        "Blank",
        "b",
        "Note the marked frame as unexposed.",
        "Asks first. The frame counts as done; its files, if any, stay.",
        6,
    ),
    _roll(
        "roll_skip",
        "Leave out",
        "s",
        "Leave the marked frame out.",
        "Asks why; the reason goes into the record.",
        7,
    ),
    _roll(
        "reopen",
        "Reopen",
        "o",
        "Take back that the frame is blank or left out.",
        "The frame is open again and is on the list of those to take.",
        8,
    ),
    _roll(
        "renumber",
        "Renumber",
        "n",
        "Give the marked frame another number.",
        "Files are renamed with it; a number that is taken is refused.",
        9,
    ),
    _roll(
        "note",
        "Note",
        "i",
        "Write a note about the marked frame.",
        "Goes into roll.toml, and from there into sidecars and positives.",
        5,
    ),
    _roll(
        "retake_list",
        "To take",
        "l",
        "List the frames that are to be taken again.",
        "Held frames, and those that were never taken.",
        10,
    ),
    _roll(
        "to_convert",
        "Recipe",
        "a",
        "Turn the recipe, and make positives of the whole roll.",
        "The recipe is turned on one frame, its positive shown at once.",
        11,
    ),
    Action(
        id="convert_next",
        where=Where.CONVERT,
        label="Next frame",
        key="n,pagedown",
        tooltip="Look at the next frame with this recipe.",
        help="A recipe is for the roll: look at several frames before applying it.",
        rank=2,
    ),
    Action(
        id="convert_before",
        where=Where.CONVERT,
        label="Frame before",
        key="b,pageup",
        tooltip="Look at the frame before with this recipe.",
        help="A recipe is for the roll: look at several frames before applying it.",
        rank=3,
    ),
    Action(
        id="recipe_reset",
        where=Where.CONVERT,
        label="Plain",
        key="0",
        tooltip="Go back to the plain recipe.",
        help="The plain recipe makes a good print from most negatives.",
        rank=4,
    ),
    Action(
        id="convert_roll",
        where=Where.CONVERT,
        label="Whole roll",
        key="a",
        tooltip="Make positives of all frames with this recipe.",
        help="Asks first. Works on in a process of its own at low priority; RAW files are only read.",
        rank=1,
    ),
    _frame("closer", "Closer", "plus,equals_sign", "Zoom in.", "Up to thirty-two times the size that fits.", 1),
    _frame("further", "Further", "minus", "Zoom out.", "Back to the whole picture.", 2),
    _frame("frame_next", "Next", "n,pagedown", "Go to the next frame.", "Keeps zoom and place, to compare.", 3),
    _frame("frame_before", "Before", "b,pageup", "Go to the frame before.", "Keeps zoom and place, to compare.", 4),
    _frame(
        "frame_negative",
        "Negative",
        "v",
        "Show the RAW as a negative, or the positive again.",
        "The negative is what the camera saw, scaled to its brightest part.",
        5,
    ),
    _frame(
        "sharp_map",
        "Sharpness",
        "k",
        "Lay a map of sharpness over the picture.",
        "Brighter is sharper, by fine detail in the RAW. Corners that stay dark on every frame speak of the rig.",
        6,
    ),
    _everywhere(
        "theme",
        "Colours",
        "t",
        "Go on to the next colours.",
        "Dark, light, high contrast, colour-blind safe, safelight, no colour. Words and shapes stay the same.",
        80,
    ),
    _everywhere("help", "Help", "question_mark", "What can be done here, and what it means.", "This page.", 15),
    _everywhere(
        "commands",
        "Commands",
        "ctrl+p",
        "Find anything by its name.",
        "Type a part of what you want to do.",
        81,
    ),
    _everywhere(
        "leave",
        "Leave",
        "q",
        "End; asks only if something would be lost.",
        "A shot under way is pulled, checked and filed first. A roll can be gone on with at any time.",
        16,
    ),
)
"""Ids are unique over all screens, since a key file names them."""

_KEY_NAMES = {
    "question_mark": "?",
    "space": "space",
    "escape": "esc",
    "ctrl+p": "^p",
    "pagedown": "pg dn",
    "pageup": "pg up",
    "plus": "+",
    "minus": "-",
}


def actions_of(where: Where) -> tuple[Action, ...]:
    """Actions that work on a screen, in the order of their rank."""
    return tuple(sorted((a for a in ACTIONS if a.where in (where, Where.EVERYWHERE)), key=lambda action: action.rank))


def action_named(action_id: str) -> Action:
    """The action of that id.

    Raises
    ------
    KeyError
    """
    return {action.id: action for action in ACTIONS}[action_id]


def bindings_of(where: Where) -> list[BindingType]:
    """Key bindings of a screen (or of the program for EVERYWHERE), each with its id, so that keys can be changed."""
    chosen: Iterable[Action] = (action for action in ACTIONS if action.where is where)
    return [
        Binding(action.key, action.id, action.label, id=action.id, tooltip=action.tooltip, show=action.rank < 99)
        for action in chosen
    ]


def key_name(key: str) -> str:
    """How the first of some keys is written for a person."""
    first = key.split(",")[0].strip()
    return _KEY_NAMES.get(first, first)
