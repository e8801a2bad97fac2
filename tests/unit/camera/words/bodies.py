"""Invented bodies, one for each way of putting things; no real camera shows exactly these lists."""

from collections.abc import Sequence

from tethercap.camera.words.widgets import Widget, WidgetKind

SHUTTERS = ("30", "10.3", "1", "0.3", "1/4", "1/30", "1/60", "1/125", "1/8000")
F_NUMBERS = ("2.8", "4", "5.6", "8", "11", "16")


def widget(
    name: str,
    current: str | float | int | None,
    choices: Sequence[str] = (),
    *,
    kind: WidgetKind = WidgetKind.RADIO,
    section: str = "capturesettings",
    readonly: bool | None = False,
    label: str = "",
    limits: tuple[float, float, float] | None = None,
) -> Widget:
    """Make a widget with little typing."""
    path = f"/main/{section}/{name}"
    return Widget(name, path, label or name, readonly, kind, current, tuple(choices), limits)


def text(name: str, current: str, *, label: str = "", section: str = "status", readonly: bool | None = False) -> Widget:
    """Make a TEXT widget."""
    return widget(name, current, kind=WidgetKind.TEXT, label=label, section=section, readonly=readonly)


def replaced(widgets: Sequence[Widget], *others: Widget) -> list[Widget]:
    """Copy of a body with some widgets put in place of those with the same name, or added."""
    names = {other.name for other in others}
    return [*(one for one in widgets if one.name not in names), *others]


def without(widgets: Sequence[Widget], *names: str) -> list[Widget]:
    """Copy of a body without some widgets."""
    return [one for one in widgets if one.name not in names]


def eos() -> list[Widget]:
    """A body with named steps, rounded thirds, a toggle for live view and a target."""
    return [
        widget("manualfocusdrive", "None", ["Near 1", "Near 2", "Near 3", "None", "Far 1", "Far 2", "Far 3"]),
        widget("viewfinder", "2", kind=WidgetKind.TOGGLE, section="actions"),
        widget("capturetarget", "Internal RAM", ["Internal RAM", "Memory card"], section="settings"),
        text("eoszoom", "0", section="actions"),
        widget("silentmode", "0", kind=WidgetKind.TOGGLE),
        text("manufacturer", "Canon Inc."),
        text("cameramodel", "Canon EOS 0D"),
        text("batterylevel", "50%"),
        text("availableshots", "412"),
        widget("imageformat", "L", ["L", "cL", "S1", "RAW", "cRAW", "RAW + L", "cRAW + L"], section="imgsettings"),
        widget("iso", "Auto", ["Auto", "50", "100", "125", "400", "Unknown value 008b"], section="imgsettings"),
        widget("autoexposuremode", "Manual", ["P", "TV", "AV", "Manual", "Bulb"]),
        widget("aperture", "5.6", F_NUMBERS),
        widget("shutterspeed", "1/60", ("bulb", *SHUTTERS)),
        widget("exposurecompensation", "-0.3", ["-1", "-0.6", "-0.3", "0", "0.3"]),
        widget("drivemode", "Single", ["Single", "Single silent", "Timer 2 sec"]),
        widget("5001", "21", ["100", "0", "75", "50"], kind=WidgetKind.MENU, section="other"),
    ]


def nikon(*, codes: Sequence[int] = (0, 1, 2, 4, 5, 6, 7), labels: Sequence[str] | None = None) -> list[Widget]:
    """A body with two lists of exposure times, a RANGE for the lens and codes behind its formats."""
    shown = labels or ["JPEG Basic", "JPEG Normal", "JPEG Fine", "NEF (Raw)", "NEF+Basic", "NEF+Normal", "NEF+Fine"]
    return [
        widget("manualfocusdrive", "0", kind=WidgetKind.RANGE, section="actions", limits=(-32767.0, 32767.0, 1.0)),
        widget("viewfinder", "0", kind=WidgetKind.TOGGLE, section="actions"),
        widget("capturetarget", "Memory card", ["Internal RAM", "Memory card"], section="settings"),
        text("manufacturer", "Nikon Corporation"),
        text("batterylevel", "80%"),
        widget("iso", "100", ["64", "100", "200"], section="imgsettings"),
        widget("f-number", "f/8", ["f/4", "f/5.6", "f/8", "f/11"]),
        widget("imagequality", shown[0], shown),
        widget("shutterspeed", "0.0166s", ["0.0001s", "0.0080s", "0.0166s", "429496.7295s"]),
        widget("shutterspeed2", "1/60", ["1/8000", "1/125", "1/60", "10/13", "65535/65533", "65535/65535"]),
        widget("expprogram", "M", ["M", "P", "A", "S"]),
        widget("focusmode", "MF (fixed)", ["AF-S", "MF (fixed)"], readonly=True),
        widget("5004", str(codes[0]), [str(code) for code in codes], kind=WidgetKind.MENU, section="other"),
    ]


def sony() -> list[Widget]:
    """A body with an aperture RANGE, a fixed table of times and three targets."""
    times = ["30", "32/10", "8/10", "1/60", "1/8000", "Bulb"]
    return [
        widget("manualfocus", "0", kind=WidgetKind.RANGE, section="actions", limits=(-7.0, 7.0, 1.0)),
        widget("capturetarget", "sdram", ["sdram", "card+sdram", "card"], section="settings"),
        text("manufacturer", "Sony Corporation"),
        text("cameramodel", "ILCE-0"),
        widget(
            "iso",
            "Auto ISO",
            ["Auto ISO", "25", "100", "200", "200 Multi Frame Noise Reduction"],
            section="imgsettings",
        ),
        widget("f-number", "4.5", kind=WidgetKind.RANGE, limits=(0.0, 655.35, 0.01)),
        widget("imagequality", "RAW+JPEG (Std)", ["RAW", "RAW+JPEG (Std)", "RAW+HEIF (Std)", "Fine"]),
        widget("shutterspeed", "1/60", times),
        widget("expprogram", "M", ["M", "P", "A", "S"]),
        widget("d218", "43", ["-1", "0", "43", "100"], kind=WidgetKind.MENU, section="other"),
    ]


def card_reader(maker: str) -> list[Widget]:
    """A body in the wrong USB mode: who it is and its battery, nothing to control."""
    return [text("manufacturer", maker), text("batterylevel", "100%"), text("deviceversion", "1.0")]
