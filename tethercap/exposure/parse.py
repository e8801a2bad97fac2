"""Reads the figures that cameras print for aperture, exposure time, sensitivity and compensation.

Whole texts only: a text with anything left over is not a figure. A decimal comma counts as a point, and so does the
apostrophe that is written in Spanish. Seconds may be abbreviated in any script. What is not a figure gives None;
words ("auto", "bulb") are for the caller, who knows the language.
"""

import re

LOWEST_F_NUMBER, HIGHEST_F_NUMBER = 0.5, 128.0
"""No lens lies outside; bodies print f/0 or f/655.34 when the lens tells them nothing."""
LOWEST_ISO, HIGHEST_ISO = 3.0, 10_000_000.0
LONGEST_SHUTTER_S = 86_400.0
"""Longer figures are codes (429496.7295 s is 2^32 - 1 tenths of a millisecond), never a time."""

_NUMBER = r"\d+(?:[.,']\d+)?"
_SECONDS = r"(?:s|sec|с|gy|秒|წმ|\")"
"""Abbreviations of the second in the driver's catalogues; old PowerShots write a double prime."""
_FRACTION = re.compile(rf"({_NUMBER})/({_NUMBER})\s?{_SECONDS}?")
_PLAIN_TIME = re.compile(rf"({_NUMBER})\s?(?:{_SECONDS}|(m|min))?")
_MIXED_TIME = re.compile(rf"(\d+) (\d+)/(\d+)\s?{_SECONDS}?")
_INCH_TIME = re.compile(r"(\d+)\"(\d+)")
_THIRD_MARK = re.compile(r"\s*\(1/3\)$")
_F_NUMBER = re.compile(rf"(?:[fF]/? ?)?({_NUMBER})")
_ISO = re.compile(r"(?:ISO ?)?(\d+)")
_SIGNED = re.compile(rf"([+\-−]?)({_NUMBER})")
_MIXED = re.compile(r"([+\-−]?)(?:(\d+) )?(\d)/(\d)")


def parse_number(text: str) -> float | None:
    """Read a plain number, comma or point; None for anything else."""
    match = _SIGNED.fullmatch(text.strip())
    if match is None:
        return None
    value = _float(match[2])
    return -value if match[1] in ("-", "−") else value


def parse_f_number(text: str) -> float | None:
    """Read an f-number: '8', '8.0', 'f/5.6', 'F3,5', '1.2 (1/3)'.

    Returns
    -------
    float or None
        None also for figures no lens has (f/0, f/655.34).
    """
    match = _F_NUMBER.fullmatch(_THIRD_MARK.sub("", text.strip()))
    if match is None:
        return None
    value = _float(match[1])
    return value if LOWEST_F_NUMBER <= value <= HIGHEST_F_NUMBER else None


def parse_shutter_s(text: str) -> float | None:
    """Read an exposure time in seconds: '1/60', '10/13', '0,0166s', '30', '30"', '3"2', '0"3 (1/3)', '2m'.

    Returns
    -------
    float or None
        Seconds as printed (a mark is not made exact). None for 0 and for codes beyond a day.
    """
    seconds = _seconds(_THIRD_MARK.sub("", text.strip()))
    return seconds if seconds is not None and 0 < seconds <= LONGEST_SHUTTER_S else None


def _seconds(text: str) -> float | None:
    if match := _FRACTION.fullmatch(text):
        numerator, denominator = _float(match[1]), _float(match[2])
        # Figures this large are 16-bit codes for bulb and the like, not a quotient of a second.
        return numerator / denominator if denominator and numerator < 0xFFF0 else None
    if match := _MIXED_TIME.fullmatch(text):
        return int(match[1]) + int(match[2]) / int(match[3]) if int(match[3]) else None
    if match := _INCH_TIME.fullmatch(text):
        return float(f"{match[1]}.{match[2]}")
    if match := _PLAIN_TIME.fullmatch(text):
        return _float(match[1]) * (60.0 if match[2] else 1.0)
    return None


def parse_iso(text: str) -> float | None:
    """Read a sensitivity: '100', 'ISO 400'; '200 Multi Frame Noise Reduction' is another thing.

    Returns
    -------
    float or None
        None also for codes: from 1000 on every marked sensitivity ends in 0, while 53249 and 65535 do not.
    """
    match = _ISO.fullmatch(text.strip())
    if match is None:
        return None
    value = int(match[1])
    if not LOWEST_ISO <= value <= HIGHEST_ISO or (value >= 1000 and value % 10):
        return None
    return float(value)


def parse_stops(text: str) -> float | None:
    """Read an exposure compensation as printed, in stops: '-0.3', '+1 2/3', '0,7', '-1/3'; None for words."""
    match = _MIXED.fullmatch(text.strip())
    if match is None:
        return parse_number(text)
    if match[4] == "0":
        return None
    value = int(match[2] or 0) + int(match[3]) / int(match[4])
    return -value if match[1] in ("-", "−") else value


def _float(digits: str) -> float:
    return float(digits.replace(",", ".").replace("'", "."))
