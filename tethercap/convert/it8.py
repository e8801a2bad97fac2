"""Slide targets of ISO 12641 (IT8.7/1): the text that tells their colours, and where their patches lie.

The text is CGATS.17 (ANSI CGATS.17-2009, as public readers and writers have it): keywords with values, a list of
fields, rows of data. Patches are named A1 ... L22, colours first, and GS0 ... GS23 for the grey scale under them.
"""

import re
import shlex
from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from tethercap.convert import spaces
from tethercap.convert.charts import Patch
from tethercap.errors import ProfileError
from tethercap.geometry import QuadPx
from tethercap.pictures import ColourSpace, F64Array

ROWS, COLUMNS = "ABCDEFGHIJKL", 22
_NEUTRAL_COLUMN = 16
"""The dye scales of columns 13 to 19 are cyan, magenta, yellow, neutral, red, green, blue; from memory of ISO 12641."""
_NEUTRAL_CHROMA = 6.0
_PATCH_NAME = re.compile(r"([A-Z]{1,2})0*(\d+)")
_XYZ, _LAB = ("XYZ_X", "XYZ_Y", "XYZ_Z"), ("LAB_L", "LAB_A", "LAB_B")
_NAME_FIELDS = ("SAMPLE_ID", "SAMPLE_NAME", "SAMPLEID", "SAMPLE_LOC")
_PERCENT = 100.0
_MOST_Y_OF_ONE = 1.5
"""Texts whose brightest patch has no larger Y count the light as 1, not as 100: no target is so dark."""


@dataclass(frozen=True, slots=True)
class TargetText:
    """What a CGATS.17 text says."""

    kind: str
    """Its first line, like "IT8.7/1"."""
    keywords: Mapping[str, str]
    rows: tuple[Mapping[str, str], ...]
    """Field -> text, for each set of data."""


def parse_cgats(text: str, file_name: str = "the target's values") -> TargetText:
    """Understand a CGATS.17 text with one table.

    Parameters
    ----------
    text : str
    file_name : str
        Named in errors.

    Raises
    ------
    ProfileError
        If it is none, is cut short, or says itself that it has another number of fields or sets.
    """
    lines = [line.strip() for line in text.replace("\ufeff", "").splitlines()]
    lines = [line for line in (_without_comment(line) for line in lines) if line]
    if not lines:
        raise _mistake(file_name, "it is empty")
    keywords: dict[str, str] = {}
    fields: list[str] = []
    values: list[str] = []
    part = ""
    for line in lines[1:]:
        word = line.split()[0].upper()
        if word in {"BEGIN_DATA_FORMAT", "BEGIN_DATA"}:
            part = word
        elif word in {"END_DATA_FORMAT", "END_DATA"}:
            part = ""
            if word == "END_DATA":
                break  # tables after the first are of other things
        elif part == "BEGIN_DATA_FORMAT":
            fields += _words(line, file_name)
        elif part == "BEGIN_DATA":
            values += _words(line, file_name)
        else:
            name, _, value = line.partition(" ")
            keywords[name.upper()] = value.strip().strip('"')
    if part:
        raise _mistake(file_name, f"it ends before END_{part.removeprefix('BEGIN_')}")
    return TargetText(lines[0].strip('"'), keywords, _rows(fields, values, keywords, file_name))


def _without_comment(line: str) -> str:
    # A # in quotes is none.
    inside, kept = False, []
    for letter in line:
        if letter == '"':
            inside = not inside
        if letter == "#" and not inside:
            break
        kept.append(letter)
    return "".join(kept).strip()


def _words(line: str, file_name: str) -> list[str]:
    try:
        return shlex.split(line, posix=True)
    except ValueError as error:
        raise _mistake(file_name, f"a quote is not closed in {line[:40]!r}") from error


def _rows(
    fields: list[str], values: list[str], keywords: Mapping[str, str], file_name: str
) -> tuple[Mapping[str, str], ...]:
    if not fields:
        raise _mistake(file_name, "it has no data format")
    if len(values) % len(fields) or not values:
        raise _mistake(file_name, f"its data are not whole rows of {len(fields)} fields")
    for name, count in (("NUMBER_OF_FIELDS", len(fields)), ("NUMBER_OF_SETS", len(values) // len(fields))):
        if keywords.get(name, str(count)).strip() != str(count):
            raise _mistake(file_name, f"it says {name} {keywords[name]} and has {count}")
    names = [field.upper() for field in fields]
    starts = range(0, len(values), len(names))
    return tuple(dict(zip(names, values[start : start + len(names)], strict=True)) for start in starts)


def _mistake(file_name: str, what: str) -> ProfileError:
    return ProfileError(
        f"{file_name} is not a usable CGATS.17 text: {what}.", todo="Get the file that came with the target again."
    )


def target_colours(text: TargetText, file_name: str = "the target's values") -> dict[str, F64Array]:
    """Colours of a target's patches.

    Returns
    -------
    dict
        Patch name without leading zeros ("A1", "GS0") -> CIE XYZ under D50, Y of the bare light = 1, shape (3,).

    Raises
    ------
    ProfileError
        If it has neither XYZ nor L*a*b*, or a number that is none.
    """
    colours, percent = {}, _scale_of(text)
    for row in text.rows:
        name = _name_in(row)
        try:
            if all(field in row for field in _XYZ):
                colour = np.array([_number(row[field]) for field in _XYZ]) / percent
            elif all(field in row for field in _LAB):
                colour = _xyz_of_lab(np.array([_number(row[field]) for field in _LAB]))
            else:
                raise _mistake(file_name, "it has neither XYZ_X, XYZ_Y, XYZ_Z nor LAB_L, LAB_A, LAB_B")
        except ValueError as error:
            raise _mistake(file_name, f"{name or 'a row'} has a value that is no number") from error
        if name:
            colours[name] = colour
    if not colours:
        raise _mistake(file_name, "none of its rows has a SAMPLE_ID like A1")
    return colours


def _name_in(row: Mapping[str, str]) -> str:
    """Name of a row's patch without leading zeros; empty where it names none. Some texts only count under SAMPLE_ID."""
    for field in _NAME_FIELDS:
        match = _PATCH_NAME.fullmatch(row.get(field, "").strip().upper())
        if match is not None:
            return f"{match[1]}{int(match[2])}"
    return ""


def _number(text: str) -> float:
    return float(text.replace(",", "."))  # where programs write decimals with a comma


def _scale_of(text: TargetText) -> float:
    """What the text says for the bare light's Y: 100, or 1."""
    said = [row.get("XYZ_Y", "") for row in text.rows]
    brightest = max((_number(value) for value in said if _is_number(value)), default=_PERCENT)
    return 1.0 if brightest <= _MOST_Y_OF_ONE else _PERCENT


def _is_number(text: str) -> bool:
    try:
        return bool(np.isfinite(_number(text)))
    except ValueError:
        return False


def _xyz_of_lab(lab: F64Array) -> F64Array:
    """CIE XYZ under D50 of CIE L*a*b* (CIE 15:2018, 8.2.1, inverted)."""
    y = (lab[0] + 16) / 116
    root = np.array([y + lab[1] / 500, y, y - lab[2] / 200])
    ratio = np.where(root > 6 / 29, root**3, 3 * (6 / 29) ** 2 * (root - 4 / 29))
    return np.asarray(ratio * spaces.PCS_WHITE_XYZ)


def linear_srgb_of(xyz_d50: F64Array) -> F64Array:
    """Linear sRGB of CIE XYZ under D50, shape (n, 3)."""
    return np.asarray(xyz_d50 @ np.linalg.inv(spaces.rgb_to_pcs(ColourSpace.SRGB)).T)


def outline_of(corners: F64Array) -> QuadPx:
    """Outline of a target's colour patches from three or four points.

    Parameters
    ----------
    corners : ndarray
        Shape (3, 2) or (4, 2), mosaic pixels: outer corners of A1, A22, L22 and, if given, L1.
    """
    points = np.asarray(corners, np.float64)
    if points.shape == (3, 2):
        points = np.vstack([points, points[0] + points[2] - points[1]])
    return QuadPx.from_array(points)


def patch_places(outline: QuadPx) -> dict[str, Patch]:
    """Divide the outline of a target's colour patches into A1 ... L22."""
    unit = np.array([[0, 0], [COLUMNS, 0], [COLUMNS, len(ROWS)], [0, len(ROWS)]], np.float32)
    mapping = np.asarray(cv2.getPerspectiveTransform(unit, outline.as_array().astype(np.float32)), np.float64)
    places = {}
    for row, letter in enumerate(ROWS):
        for column in range(COLUMNS):
            field = np.array([[column, row], [column + 1, row], [column + 1, row + 1], [column, row + 1]], np.float64)
            placed = np.column_stack([field, np.ones(4)]) @ mapping.T
            places[f"{letter}{column + 1}"] = Patch(QuadPx.from_array(placed[:, :2] / placed[:, 2:]))
    return places


def greys_among(names: list[str], xyz_d50: F64Array) -> np.ndarray:
    """Indices of the patches that are grey: the neutral scale, and whatever else has little colour."""
    ratio = np.maximum(xyz_d50 / spaces.PCS_WHITE_XYZ, 1e-6)
    root = np.cbrt(ratio)
    chroma = np.hypot(500 * (root[:, 0] - root[:, 1]), 200 * (root[:, 1] - root[:, 2]))
    named = np.array([name in {f"{row}{_NEUTRAL_COLUMN}" for row in ROWS} or name.startswith("GS") for name in names])
    return np.flatnonzero((chroma < _NEUTRAL_CHROMA) | (named & (chroma < 2 * _NEUTRAL_CHROMA)))
