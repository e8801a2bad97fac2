"""Takes out of a dump what says whose camera it is, so that people can send theirs."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from tethercap.camera.words.languages import is_null
from tethercap.camera.words.widgets import Widget, WidgetKind

REMOVED = "(removed)"

_NAMES = re.compile(
    r"owner(name)?|artist|copyright(info)?|author|.*serial.*|nickname|devicename|friendly.*|hostname|.*comment.*|"
    r".*(ssid|ipaddr|macaddr|password|passphrase|username|networkkey|guid|gps|latitude|longitude|altitude).*|"
    r"imagecomment|lensname(andserial)?|usercopyright|shootingbank.*name|menubank.*name|"
    # Property numbers that hold owner, names, serial numbers and partners (standard 501e, 501f; media transfer
    # d401-d407).
    r"501e|501f|d401|d402|d405|d406|d407"
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
_PATTERNS = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        r"[\w.+-]+@[\w-]+\.[\w.]+",
        r"\b(?:[0-9a-f]{2}[:-]){5}[0-9a-f]{2}\b",
        r"\b(?:\d{1,3}\.){3}\d{1,3}\b(?!\.\d)",
        r"\b[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}\b",
        r"\b[0-9a-f]{24,}\b",
        r"\b\d{1,3}[.,]\d{4,}\s*°?\s*[NSEW]\b",
        r"/(?:home|Users)/\w+",
    )
)
"""E-mail, MAC and IP addresses, GUIDs and long keys, positions, home folders."""
_SHORTEST_NAME = 4
"""A name shorter than this is not searched for elsewhere: it would be found inside common words."""


@dataclass(frozen=True, slots=True)
class Anonymiser:
    """Knows the secrets of one dump, and takes them out wherever they stand."""

    secrets: tuple[str, ...] = ()

    @classmethod
    def for_widgets(cls, widgets: Sequence[Widget]) -> "Anonymiser":
        """Collect what the telling settings hold, to find it in the others as well (a name inside a file prefix)."""
        found = {
            widget.current_text.strip()
            for widget in widgets
            if is_telling(widget) and not is_null(widget.current_text) and widget.current_text.strip() != REMOVED
        }
        return cls(tuple(sorted((text for text in found if len(text) >= _SHORTEST_NAME), key=len, reverse=True)))

    def clean(self, widget: Widget) -> Widget:
        """Copy of a widget with nothing personal in it. Settings are kept to the letter."""
        if is_telling(widget):
            kept = widget.current if is_null(widget.current_text) else REMOVED
            return replace(widget, current=kept, choices=(), range=None)
        current = self.clean_text(widget.current) if isinstance(widget.current, str) else widget.current
        if _HARMLESS.fullmatch(widget.name) and widget.name not in ("model", "cameramodel"):
            current = self._without_secrets(str(widget.current)) if isinstance(widget.current, str) else widget.current
        return replace(
            widget,
            current=current,
            label=self._without_secrets(widget.label),
            choices=tuple(self.clean_text(choice) for choice in widget.choices),
        )

    def clean_text(self, text: str) -> str:
        """Take secrets, addresses and positions out of a text."""
        text = self._without_secrets(text)
        for pattern in _PATTERNS:
            text = pattern.sub(REMOVED, text)
        return text

    def _without_secrets(self, text: str) -> str:
        for secret in self.secrets:
            text = text.replace(secret, REMOVED)
        return text


def is_telling(widget: Widget) -> bool:
    """True where a setting's name or label says that it holds something about a person, a device or a place."""
    if _HARMLESS.fullmatch(widget.name):
        return False
    if widget.kind not in (WidgetKind.TEXT, WidgetKind.MENU, WidgetKind.RANGE):
        return False
    if _NAMES.fullmatch(widget.name):
        return True
    # Switches about networks are settings, not secrets: only texts are taken out by their label.
    return widget.kind is WidgetKind.TEXT and bool(_LABELS.search(widget.label))
