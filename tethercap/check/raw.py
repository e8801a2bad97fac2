"""The check of a RAW that was pulled: the judge of every shot."""

from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from tethercap.check import registry
from tethercap.check.blur import directional_loss
from tethercap.check.findings import Finding, FindingKind, RawFindings
from tethercap.check.limits import CheckLimits
from tethercap.check.view import raw_planes, raw_to_view
from tethercap.film.formats import FilmFormat
from tethercap.film.kinds import FilmKind
from tethercap.geometry import OffsetMm, RectPx, SizePx
from tethercap.pictures import F32Array, RawPicture, U8Array
from tethercap.watch.likeness import likeness, small_view, view_of
from tethercap.watch.limits import Limits
from tethercap.watch.sighting import Alignment, FrameEdges, Sighting
from tethercap.watch.still import inspect_still

_VIEW_REDUCTION = 4
"""24 million pixels come down to 1500 × 1000, the size the edge finder is made for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRequest:
    """What is known about a shot before its RAW is opened; crosses to a worker process."""

    film_format: FilmFormat
    film_kind: FilmKind | None = None
    offset_when_fired: OffsetMm | None = None
    """Where the live view had the frame when the shutter was released; None without live view."""
    view_when_fired: bytes = b""
    """The live view then, small, as `tethercap.watch.likeness` keeps it; empty without live view."""
    mm_per_view_width: float | None = None
    """Width of the view on the film, mm, when it is known from live view."""
    expected_size: SizePx | None = None
    forced: bool = False
    watched: bool = True
    limits: Limits = field(default_factory=Limits)
    check_limits: CheckLimits = field(default_factory=CheckLimits)


def check_raw(raw: RawPicture, request: CheckRequest) -> RawFindings:
    """Look for everything that could make this picture not the one that was meant.

    Parameters
    ----------
    raw : RawPicture
        As pulled; not changed.
    request : CheckRequest

    Returns
    -------
    RawFindings
        Edges in mosaic pixels. A forced shot is never failed for its alignment: the person saw and decided.
    """
    planes = raw_planes(raw)
    view = raw_to_view(raw, _VIEW_REDUCTION, planes=planes)
    mm_per_px = request.mm_per_view_width / view.shape[1] if request.mm_per_view_width else None
    sighting = inspect_still(
        view,
        film_format=request.film_format,
        film_kind=request.film_kind,
        mm_per_px=mm_per_px,
        limits=request.limits,
    )
    region = _frame_region(sighting, planes.shape[2], planes.shape[1])
    inside = planes[:, region.y_px : region.y_px + region.height_px, region.x_px : region.x_px + region.width_px]
    findings = [
        *_size_findings(raw, request),
        *_alignment_findings(sighting, request),
        *_exposure_findings(inside, request.check_limits),
        *_blur_findings(inside, sighting.alignment, request),
    ]
    if not request.watched:
        findings.append(Finding(registry.NOT_WATCHED))
    if request.forced:
        findings.append(Finding(registry.FORCED))
    return RawFindings(tuple(findings), *_in_mosaic_px(sighting), _likeness(view, request.view_when_fired))


def _likeness(view: U8Array, when_fired: bytes) -> float | None:
    live = view_of(when_fired)
    if live is None:
        return None
    return likeness(live, small_view(cv2.cvtColor(view, cv2.COLOR_BGR2GRAY).astype(np.float32)))


def _in_mosaic_px(sighting: Sighting) -> tuple[FrameEdges | None, Alignment | None]:
    edges, alignment = sighting.edges, sighting.alignment
    if edges is not None:
        edges = replace(
            edges, corners=edges.corners.scaled(_VIEW_REDUCTION), mm_per_px=edges.mm_per_px / _VIEW_REDUCTION
        )
    if alignment is not None:
        alignment = replace(alignment, mm_per_px=alignment.mm_per_px / _VIEW_REDUCTION)
    return edges, alignment


def _frame_region(sighting: Sighting, width_px: int, height_px: int) -> RectPx:
    """Part of the half-size planes that is surely picture; the middle half where no frame was found."""
    if sighting.edges is None:
        return RectPx(width_px // 4, height_px // 4, width_px // 2, height_px // 2)
    corners = sighting.edges.corners.scaled(_VIEW_REDUCTION / 2)
    array = corners.as_array()
    inset = 0.03 * float(np.ptp(array[:, 0]))
    left, top = np.sort(array, axis=0)[1] + inset
    right, bottom = np.sort(array, axis=0)[2] - inset
    x0, y0 = max(0, round(left)), max(0, round(top))
    x1, y1 = min(width_px, round(right)), min(height_px, round(bottom))
    if x1 - x0 < 64 or y1 - y0 < 64:
        return RectPx(width_px // 4, height_px // 4, width_px // 2, height_px // 2)
    return RectPx(x0, y0, x1 - x0, y1 - y0)


def _size_findings(raw: RawPicture, request: CheckRequest) -> list[Finding]:
    if request.expected_size is None or request.expected_size == raw.size:
        return []
    got, expected = raw.size, request.expected_size
    detail = f"{got.width_px} × {got.height_px} instead of {expected.width_px} × {expected.height_px}"
    return [Finding(registry.WRONG_SIZE, detail=detail)]


def _alignment_findings(sighting: Sighting, request: CheckRequest) -> list[Finding]:
    alignment = sighting.alignment
    if alignment is None or sighting.edges is None or any(side.inferred for side in sighting.edges.evidence):
        return [Finding(registry.EDGES_NOT_CONFIRMED)]
    if request.forced:
        return []
    limits, extra = request.limits, request.check_limits
    offset_mm = max(abs(alignment.offset.x_mm), abs(alignment.offset.y_mm))
    findings: list[Finding] = []

    def judge(kind: FindingKind, value: float, limit: float, unit: str) -> None:
        if value > limit:
            findings.append(Finding(kind, round(value, 3), unit))

    judge(registry.OFF_CENTRE, offset_mm, limits.centring_mm + extra.slip_allowance_mm, "mm")
    judge(registry.TILTED, abs(alignment.tilt_deg), limits.tilt_deg + extra.tilt_allowance_deg, "deg")
    judge(registry.KEYSTONE, alignment.keystone_deg, limits.keystone_deg, "deg")
    judge(registry.CUT_OFF, 100 * alignment.cut_off_fraction, 100 * limits.cut_off_fraction, "%")
    return findings


def _exposure_findings(inside: F32Array, limits: CheckLimits) -> list[Finding]:
    sample = np.ascontiguousarray(inside[:, ::2, ::2])
    at_limit = float((sample.max(axis=0) > limits.saturated_share).mean())
    if at_limit > limits.clipped_failure_fraction:
        return [Finding(registry.CLIPPED, round(100 * at_limit, 2), "%")]
    if at_limit > limits.clipped_note_fraction:
        return [Finding(registry.CLIPPED_A_LITTLE, round(100 * at_limit, 3), "%")]
    brightest = max(_brightest(colour) for colour in sample)
    if brightest < limits.underexposed_share:
        return [Finding(registry.UNDEREXPOSED, round(100 * brightest, 1), "% of the range")]
    return []


def _brightest(colour: F32Array) -> float:
    """Value that a thousandth of a plane lies above."""
    place = round(0.999 * (colour.size - 1))
    return float(np.partition(colour, place, axis=None)[place])


def _blur_findings(inside: F32Array, alignment: Alignment | None, request: CheckRequest) -> list[Finding]:
    loss_x, loss_y = directional_loss(np.ascontiguousarray(inside[1]))
    loss = max(loss_x, loss_y)
    if loss <= request.check_limits.blur_loss:
        return []
    axis = "along the picture's width" if loss_x > loss_y else "along the picture's height"
    finding = (round(100 * loss, 1), "% of fine detail", axis)
    if alignment is None or request.offset_when_fired is None:
        return [Finding(registry.MAYBE_SMEARED, *finding)]
    slip = np.subtract(alignment.offset, request.offset_when_fired)
    slipped = abs(float(slip[0 if loss_x > loss_y else 1])) > request.check_limits.slip_mm
    return [Finding(registry.MOTION_BLUR, *finding)] if slipped else []
