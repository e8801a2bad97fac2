"""The strips of a roll, laid ready: each is laid out and drawn when needed, the next one ahead of time."""

from __future__ import annotations

import math
import threading
from concurrent.futures import Future, ThreadPoolExecutor

from mock_camera import scenes
from mock_camera.film_stock import FilmFormat, FloatPicture
from mock_camera.strip_scene import Canvas, Frame, Region, SceneSource, Strip, StripPlan, compose, make_strip

LIVE_OVERSAMPLING = 1.15
"""Canvas pixels per live-view pixel: enough that warping does not soften the edges."""
SCENE_LONG_SIDE_PX = 2400
LIVE_SCENE_OVERSAMPLING = 1.1
"""Scene pixels per canvas pixel of the live view: a quarter of the work of the full size that the RAW needs."""
SPARE_MM = 2.0
"""How far a canvas reaches beyond what is needed, so that small corrections of the film need no new one."""


class FilmShelf:
    """Pictures of the strips at live-view scale, and of parts of them at RAW scale.

    Parameters
    ----------
    plan : StripPlan
    strips : int
    live_px_per_mm, raw_px_per_mm : float
        Scale of the live view and of the sensor; the film is not drawn finer than the sensor sees it.
    """

    def __init__(self, plan: StripPlan, strips: int, live_px_per_mm: float, raw_px_per_mm: float) -> None:
        self.plan = plan
        frame_mm = max(plan.film_format.along_mm, plan.film_format.across_mm)
        self._raw_scale = min(SCENE_LONG_SIDE_PX / frame_mm, raw_px_per_mm)
        self._live_scale = live_px_per_mm * LIVE_OVERSAMPLING
        self._strips = [make_strip(plan, index) for index in range(strips)]
        self._pool = ThreadPoolExecutor(1, "draw-strip")
        self._lock = threading.Lock()
        self._live: dict[int, Future[Canvas]] = {}
        self._raw_lock = threading.Lock()
        self._raw: tuple[int, Canvas] | None = None
        self._ahead: Future[Canvas] | None = None
        self._prepare(0)

    def strip(self, number: int) -> Strip:
        """Layout of a strip.

        Raises
        ------
        ValueError
            There is no such strip.
        """
        if not 0 <= number < len(self._strips):
            raise ValueError(f"strip {number} is not on the table; there are 0 to {len(self._strips) - 1}")
        return self._strips[number]

    def live_canvas(self, number: int) -> Canvas:
        """A whole strip at live-view scale; waits for it if it is still being drawn."""
        future = self._prepare(number)
        canvas = future.result()
        if number + 1 < len(self._strips):
            self._prepare(number + 1)
        return canvas

    def raw_canvas(self, number: int, left_mm: float, right_mm: float) -> Canvas:
        """Part of a strip at the scale of its scenes, the same object as last time if that still covers the part."""
        with self._raw_lock:
            kept = self._raw
            if kept is not None and kept[0] == number and kept[1].covers(left_mm, right_mm):
                return kept[1]
            top = _visible_half_mm(self.plan.film_format)
            region = Region(left_mm - SPARE_MM, right_mm + SPARE_MM, -top, top, self._raw_scale)
            canvas = compose(self._strips[number], region, self._source(region))
            self._raw = number, canvas
            return canvas

    def draw_ahead(self, number: int, left_mm: float, right_mm: float) -> None:
        """Begin with the RAW canvas of a part where the film has come to rest, unless one is being drawn."""
        kept = self._raw
        if kept is not None and kept[0] == number and kept[1].covers(left_mm, right_mm):
            return
        with self._lock:
            if self._ahead is None or self._ahead.done():
                self._ahead = self._pool.submit(self.raw_canvas, number, left_mm, right_mm)

    def close(self) -> None:
        """Stop drawing ahead."""
        self._pool.shutdown(cancel_futures=True)

    def _prepare(self, number: int) -> Future[Canvas]:
        with self._lock:
            if number not in self._live:
                for far in [key for key in self._live if abs(key - number) > 1 and self._live[key].done()]:
                    del self._live[far]
                self._live[number] = self._pool.submit(self._draw_live, number)
            return self._live[number]

    def _draw_live(self, number: int) -> Canvas:
        strip = self._strips[number]
        top = _visible_half_mm(self.plan.film_format)
        region = Region(-3.0, strip.length_mm + 3.0, -top, top, self._live_scale)
        return compose(strip, region, self._source(None))

    def _source(self, raw_region: Region | None) -> SceneSource:
        """Paints scenes: at full size what fills a RAW, at a quarter of the work what the live view or a rim needs."""
        along, across = self.plan.film_format.along_mm, self.plan.film_format.across_mm

        def scene_of(frame: Frame) -> FloatPicture:
            inside = 0.0
            if raw_region is not None:
                inside = min(raw_region.right_mm, frame.x_mm + along / 2) - max(
                    raw_region.left_mm, frame.x_mm - along / 2
                )
            scale = self._raw_scale
            if inside <= 0.25 * along:
                scale = min(scale, LIVE_SCENE_OVERSAMPLING * self._live_scale)
            return scenes.draw(frame.scene, frame.seed, round(along * scale), round(across * scale))

        return scene_of


def _visible_half_mm(film_format: FilmFormat) -> float:
    """Half the height of film that the holder can ever show, shifts and turns included."""
    return film_format.opening_across_mm / 2 + 3.0 + math.radians(2.0) * film_format.opening_along_mm / 2
