"""Takes out of a dump what says whose camera it is, so that people can send theirs."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from tethercap.camera.words.languages import is_null
from tethercap.camera.words.widgets import Widget, WidgetKind

REMOVED = "(removed)"

_NAMES = re.compile(
    r"owner(name)?|artist|copyright(info)?|author|.*serial.*|nickname|devicename|friendly.*|hostname|.*comment.*|"
    r".*(ssid|ipaddr|macaddr|password|passphrase|username|networkkey|guid|gps|latitude|longitude|altitude).*|"
    r"imagecomment|usercopyright|shootingbank.*name|menubank.*name|"
    # Property numbers that hold owner, names, serial numbers and partners (standard 501e, 501f; media transfer
    # d401-d407).
    r"501e|501f|d401|d402|d405|d406"
)
_LABELS = re.compile(
    r"owner|artist|copyright|author|serial|nickname|device ?name|friendly|partner|initiator|guid|uuid|ssid|mac address|"
    r"ip address|host ?name|password|passphrase|user ?name|network|wi-?fi|wlan|comment|bank name|preset name|gps|"
    r"latitude|"
    r"longitude|location|besitzer|eigentümer|künstler|urheber|seriennummer|kommentar|kennwort|passwort|netzwerk|standort|"
    r"propriétaire|artiste|auteur|numéro de série|commentaire|mot de passe|réseau|propietario|autor|número de serie|"
    r"comentario|contraseña|\bred\b",
    re.IGNORECASE,
)
_HARMLESS = re.compile(
    r"vendorextension|manufacturer|cameramodel|deviceversion|firmwareversion|opcode|model|capturetarget"
)
_ADDRESSES = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        r"[\w.+-]+@[\w-]+\.[\w.]+",
        r"\b(?:[0-9a-f]{2}[:-]){5}[0-9a-f]{2}\b",
        r"\b[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}\b",
        r"/(?:home|Users)/\w+",
    )
)
"""E-mail and MAC addresses, GUIDs, home folders: never part of a setting."""
_IN_TEXTS = (
    *_ADDRESSES,
    re.compile(r"\b(?:\d{1,3}\.){3}\d{1,3}\b(?!\.\d)"),
    re.compile(r"\b[0-9a-fA-F]{24,}\b"),
    re.compile(r"\b\d{1,3}[.,]\d{4,}\s*°?\s*[NSEW]\b"),
)
"""IP addresses, long keys and positions: looked for in free texts only: exposure times look much the same."""
_SHORTEST_NAME = 4
"""A name shorter than this is not searched for elsewhere: it would be found inside common words."""
_SHORTEST_NUMBER = 6
"""A serial number shorter than this might be any figure."""
_MODEL_WIDGETS = frozenset({"cameramodel", "model", "manufacturer"})


@dataclass(frozen=True, slots=True)
class Anonymiser:
    """Knows the secrets of one dump, and takes them out wherever they stand."""

    secrets: tuple[str, ...] = ()

    @classmethod
    def for_widgets(cls, widgets: Sequence[Widget]) -> "Anonymiser":
        """Collect what the telling settings hold, to find it in the others as well (a name inside a file prefix)."""
        models = {widget.current_text.strip() for widget in widgets if widget.name in _MODEL_WIDGETS}
        found = {
            widget.current_text.strip()
            for widget in widgets
            if is_telling(widget) and not is_null(widget.current_text) and REMOVED not in widget.current_text
        }
        # The device's friendly name is often just the model.
        names = {text for text in found - models if len(text) >= _SHORTEST_NAME and not text.isdecimal()}
        numbers = {text for text in found if text.isdecimal() and len(text) >= _SHORTEST_NUMBER}
        return cls(tuple(sorted(names | numbers, key=len, reverse=True)))

    def clean(self, widget: Widget) -> Widget:
        """Copy of a widget with nothing personal in it. Settings are kept to the letter."""
        if is_telling(widget):
            kept = widget.current if is_null(widget.current_text) else REMOVED
            return replace(widget, current=kept, choices=(), range=None)
        choices = tuple(_blanked(choice, _ADDRESSES) for choice in widget.choices)
        label = self._without_secrets(widget.label)
        return replace(widget, current=self._clean_current(widget), label=label, choices=choices)

    def clean_text(self, text: str) -> str:
        """Take secrets, addresses and positions out of a free text."""
        return _blanked(self._without_secrets(text), _IN_TEXTS)

    def _clean_current(self, widget: Widget) -> str | float | int | None:
        if not isinstance(widget.current, str):
            return widget.current
        if widget.kind is not WidgetKind.TEXT:
            return _blanked(widget.current, _ADDRESSES)
        return self._without_secrets(widget.current) if is_harmless(widget) else self.clean_text(widget.current)

    def _without_secrets(self, text: str) -> str:
        for secret in self.secrets:
            text = text.replace(secret, REMOVED)
        return text


def _blanked(text: str, patterns: Iterable[re.Pattern[str]]) -> str:
    for pattern in patterns:
        text = pattern.sub(REMOVED, text)
    return text


def is_harmless(widget: Widget) -> bool:
    """True for the few texts that look like addresses and are versions and protocol names."""
    return _HARMLESS.fullmatch(widget.name) is not None


def is_telling(widget: Widget) -> bool:
    """True where a setting's name or label says that it holds something about a person, a device or a place."""
    if is_harmless(widget):
        return False
    if widget.kind not in (WidgetKind.TEXT, WidgetKind.MENU, WidgetKind.RANGE):
        return False
    if _NAMES.fullmatch(widget.name):
        return True
    # Switches about networks are settings, not secrets: only texts are taken out by their label.
    return widget.kind is WidgetKind.TEXT and bool(_LABELS.search(widget.label))
