"""A frame opened for quick looks: measured once, then printed anew with every turn of its recipe."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from tethercap.batch.find_frame import find_frame
from tethercap.batch.job import ConversionJob
from tethercap.batch.pools import make_pool
from tethercap.batch.roll_jobs import roll_job, roll_jobs
from tethercap.batch.together import FrameLook, look_at_roll
from tethercap.batch.work import frame_long_mm
from tethercap.convert.crop import Layout, lay_out, quad_or_none
from tethercap.convert.exposure import PrintExposure
from tethercap.convert.film_base import FilmBase
from tethercap.convert.film_model import FilmModel
from tethercap.convert.pipeline import RollLook, plan_conversion
from tethercap.convert.preview import Developed, Preview, make_preview
from tethercap.convert.recipe import Recipe
from tethercap.errors import UnreadablePictureError
from tethercap.geometry import QuadPx, SizePx
from tethercap.image_files.raw import read_raw
from tethercap.pictures import ColourSpace, RawPicture, U8Array
from tethercap.roll.folder import Roll
from tethercap.tui.roll_cards import FrameCard

_MOST_PX = 1500
_FEWEST_PX = 240


@dataclass(frozen=True, slots=True)
class _Found:
    """What a print is made with beside its recipe."""

    base: FilmBase
    model: FilmModel
    exposure: PrintExposure
    warnings: tuple[str, ...] = ()


@dataclass(slots=True, eq=False)
class QuickFrame:
    """One frame ready for quick looks."""

    key: str
    raw: RawPicture
    job: ConversionJob
    """How the roll converts it."""
    corners: QuadPx | None
    """As found, in pixels of the RAW."""
    frame_long_mm: float
    preview: Preview
    _look: FrameLook | None = None
    _found: dict[tuple[object, ...], _Found] = field(default_factory=dict)
    _developed: tuple[tuple[object, ...], Developed] | None = None
    """What the last look was printed from, and what that depends on."""

    def give_look(self, look: FrameLook | None) -> None:
        """Take base, neutral and exposure of the roll from now on; None finds them on the frame alone."""
        if look is not self._look:
            self._look = look
            self._found.clear()

    def look(self, recipe: Recipe) -> U8Array:
        """Print the frame with a recipe: cut, turned and mirrored as the positive would be.

        With the look of the roll it is the positive that a conversion of the roll makes, in small.

        Returns
        -------
        ndarray
            BGR, uint8, sRGB, as screens show it, whatever space the positive is to be in.

        Raises
        ------
        ConversionError
            If the frame cannot be converted.
        """
        found = self._found_for(recipe)
        layout = self._layout(recipe)
        key = (found.base, found.model, recipe.channel_weights, layout)
        if self._developed is None or self._developed[0] != key:
            self._developed = key, self.preview.develop(recipe, found.base, found.model).squared(layout)
        printed = self._developed[1].draw(replace(recipe, space=ColourSpace.SRGB), found.exposure)
        view = printed[:, ::-1] if layout.mirrored else printed
        return np.ascontiguousarray(np.rot90(view, layout.quarters))

    def _layout(self, recipe: Recipe) -> Layout:
        """Where the pixels of a look come from in the preview."""
        height, width = self.preview.film.shape[:2]
        corners = self._corners(recipe)
        small = corners.scaled(1.0 / self.preview.cell_px) if corners is not None else None
        whole = SizePx(width // 2 * 2, height // 2 * 2)
        return lay_out(whole, small, recipe, self.frame_long_mm, half_size=False)

    def warnings_for(self, recipe: Recipe) -> tuple[str, ...]:
        """What the conversion has to say about a recipe."""
        return self._found_for(recipe).warnings

    def _corners(self, recipe: Recipe) -> QuadPx | None:
        return quad_or_none(recipe.corners_px) or self.corners

    def _found_for(self, recipe: Recipe) -> _Found:
        job = replace(self.job, recipe=recipe)
        if self._look is not None:
            job = self._look.given_to(job)
        if job.base is not None and job.model is not None and job.exposure is not None:
            return _Found(job.base.for_shot(self.raw.shot), job.model, job.exposure)
        # What takes time is done once for all recipes that it is the same for.
        key = (recipe.own_base, recipe.channel_weights, recipe.corners_px, recipe.auto_exposure, recipe.black_point)
        if key not in self._found:
            known = RollLook(
                base=job.base, model=job.model, exposure=job.exposure, flat=job.flat, frame_long_mm=self.frame_long_mm
            )
            plan = plan_conversion(self.raw, recipe, corners=self._corners(recipe), film_kind=job.film_kind, look=known)
            self._found[key] = _Found(plan.base, plan.model, plan.exposure, plan.warnings)
        return self._found[key]


def open_quick(roll: Roll, card: FrameCard, long_side_px: int) -> QuickFrame:
    """Open a frame's RAW; its corners are those of the check, else looked for.

    Parameters
    ----------
    roll : Roll
    card : FrameCard
    long_side_px : int
        Pixels that the view has along its longer side.

    Raises
    ------
    PictureError
    """
    take = card.shown_take
    if card.raw is None or take is None:
        raise UnreadablePictureError(f"Frame {card.key} has no picture.")
    made = (each for each in roll_jobs(roll) if str(each.number) == card.key and each.take.number == take.number)
    # A take that does not stand for its frame is not converted with the roll, and is looked at all the same.
    job = (next(made, None) or roll_job(roll, card.frame.frame_id, take, Recipe())).job
    raw = read_raw(card.raw)
    corners = job.corners or find_frame(raw, job.film_kind, job.format_id)
    side = min(max(long_side_px, _FEWEST_PX), _MOST_PX)
    preview = make_preview(raw, job.film_kind, side, job.flat)
    return QuickFrame(card.key, raw, job, corners, frame_long_mm(job.format_id), preview)


def looks_of_roll(roll: Roll, on_look: Callable[[], None] = lambda: None) -> dict[str, FrameLook]:
    """Look at the whole roll as its conversion does, in a process of its own.

    Parameters
    ----------
    roll : Roll
    on_look : callable
        Called after each frame; what it raises ends the work.

    Returns
    -------
    dict
        Frame number -> what the frame gets of its roll.

    Raises
    ------
    TethercapError
        If no frame can be read, or recipe.toml has a mistake.
    """
    wanted = roll_jobs(roll)
    if not wanted:
        return {}
    pool = make_pool("processes", 1)
    try:
        looks = look_at_roll([each.job for each in wanted], pool, on_done=on_look)
    finally:
        pool.shutdown(cancel_futures=True)
    return {str(each.number): look for each, look in zip(wanted, looks, strict=True)}
