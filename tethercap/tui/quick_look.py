"""A frame opened for quick looks: measured once, then printed anew with every turn of its recipe."""

from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from tethercap.batch.find_frame import find_frame
from tethercap.batch.work import frame_long_mm
from tethercap.convert.crop import lay_out, quad_or_none
from tethercap.convert.film_base import FilmBase
from tethercap.convert.pipeline import ConversionPlan, RollLook, plan_conversion
from tethercap.convert.preview import Preview, make_preview
from tethercap.convert.recipe import Recipe
from tethercap.errors import UnreadablePictureError
from tethercap.film.kinds import FilmKind
from tethercap.geometry import QuadPx, SizePx
from tethercap.image_files.raw import read_raw
from tethercap.pictures import RawPicture, U8Array
from tethercap.roll.state import TakeRecord
from tethercap.tui.roll_cards import FrameCard

_MOST_PX = 1500
_FEWEST_PX = 240


@dataclass(slots=True, eq=False)
class QuickFrame:
    """One frame ready for quick looks."""

    key: str
    raw: RawPicture
    corners: QuadPx | None
    """As found, in pixels of the RAW."""
    film_kind: FilmKind
    frame_long_mm: float
    roll_base: FilmBase | None
    """The roll's, where the roll was converted as one."""
    preview: Preview
    _plans: dict[tuple[object, ...], ConversionPlan] = field(default_factory=dict)

    def look(self, recipe: Recipe) -> U8Array:
        """Print the frame with a recipe: cut, turned and mirrored as the positive would be.

        Returns
        -------
        ndarray
            BGR, uint8.

        Raises
        ------
        ConversionError
            If the frame cannot be converted.
        """
        plan = self.plan_for(recipe)
        printed = self.preview.draw(recipe, plan.base, plan.model, plan.exposure)
        height, width = printed.shape[:2]
        corners = recipe_corners(recipe) or self.corners
        small = corners.scaled(width / self.raw.size.width_px) if corners is not None else None
        layout = lay_out(SizePx(width // 2 * 2, height // 2 * 2), small, recipe, self.frame_long_mm)
        if layout.to_source is not None:
            size = (layout.size.width_px, layout.size.height_px)
            flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
            mapping = np.array(layout.to_source)
            warped = cv2.warpPerspective(printed, mapping, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
            printed = np.asarray(warped, dtype=np.uint8)
        view = printed[:, ::-1] if layout.mirrored else printed
        return np.ascontiguousarray(np.rot90(view, layout.quarters))

    def plan_for(self, recipe: Recipe) -> ConversionPlan:
        """What is measured and chosen for a recipe; kept for all recipes that choose the same.

        Film base and neutral, which take longest, are found once for all that concern neither.
        """
        found_with = (recipe.own_base, recipe.channel_weights, recipe.corners_px)
        chosen = (*found_with, recipe.auto_exposure, recipe.black_point)
        if chosen not in self._plans:
            found = next((plan for key, plan in self._plans.items() if key[: len(found_with)] == found_with), None)
            base = found.base if found is not None else (None if recipe.own_base else self.roll_base)
            model = found.model if found is not None else None
            look = RollLook(base=base, model=model, frame_long_mm=self.frame_long_mm)
            corners = recipe_corners(recipe) or self.corners
            plan = plan_conversion(self.raw, recipe, corners=corners, film_kind=self.film_kind, look=look)
            self._plans[chosen] = plan if found is None else replace(plan, warnings=found.warnings)
        return self._plans[chosen]


def recipe_corners(recipe: Recipe) -> QuadPx | None:
    """Corners that a person pointed at."""
    return quad_or_none(recipe.corners_px)


def roll_base_of(take: TakeRecord) -> FilmBase | None:
    """The roll's film base, as the take's positive was made with; None where it had a look of its own."""
    base = take.converted.base if take.converted is not None else None
    counts = base.get("counts_rgb") if isinstance(base, dict) and base.get("of_roll") else None
    if not isinstance(counts, list) or len(counts) != 3:
        return None
    red, green, blue = (float(count) for count in counts)
    return FilmBase((red, green, blue))


def open_quick(card: FrameCard, film_kind: FilmKind, format_id: str, long_side_px: int) -> QuickFrame:
    """Open a frame's RAW; its corners are those of the check, else looked for.

    Parameters
    ----------
    long_side_px : int
        Pixels that the view has along its longer side.

    Raises
    ------
    PictureError
    """
    take = card.shown_take
    if card.raw is None or take is None:
        raise UnreadablePictureError(f"Frame {card.key} has no picture.")
    raw = read_raw(card.raw)
    corners = quad_or_none(take.filed.corners_px) or find_frame(raw, film_kind, format_id)
    side = min(max(long_side_px, _FEWEST_PX), _MOST_PX)
    preview = make_preview(raw, film_kind, long_side_px=side)
    return QuickFrame(card.key, raw, corners, film_kind, frame_long_mm(format_id), roll_base_of(take), preview)
