"""The copying rig: film in a holder over a light, moved by a hand, seen by a camera.

`CopyRig` is what the protocol side calls: a live-view picture now, a RAW of an exposure that has just ended, and the
film-side commands of the control channel.  It may be called from several threads.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from mock_camera import dng, placing, sensor
from mock_camera.film_shelf import FilmShelf
from mock_camera.film_stock import FORMATS
from mock_camera.hand import NO_STRIP, Hand, Move, Pose, Track, Work
from mock_camera.render import LIVE_LONGEST_S, LiveView, Mosaic, SensorCanvas, SensorView, to_sensor_canvas
from mock_camera.rig_settings import RigSettings, plan_strips, read_integer, read_number
from mock_camera.sensor import Exposure, Light
from mock_camera.strip_scene import Strip

__all__ = ["CopyRig", "Exposure", "Picture", "RigSettings"]

LIVE_SIZE_PX = (1024, 680)
PREVIEW_SIZE_PX = (1536, 1024)
THUMB_SIZE_PX = (160, 106)
MOST_POSES = 8
FAST_SCALE = 0.2


@dataclass(frozen=True)
class Picture:
    """An exposure as files, and what was really there."""

    dng: bytes
    jpeg: bytes
    thumb: bytes
    width_px: int
    height_px: int
    truth: dict[str, object]


class CopyRig:
    """Film, holder, light, hand and sensor.

    Parameters
    ----------
    settings : RigSettings
    now_s : callable
        The clock; all times given to the methods are on it.
    """

    def __init__(self, settings: RigSettings, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._start_s = now_s()
        self._started_at = settings.started_at or datetime.now(UTC)
        self._state = threading.Lock()
        self._live_lock = threading.Lock()
        self._raw_lock = threading.Lock()
        self._light = Light()
        self._focus_error_mm = 0.0
        self._shots = 0
        self._sensor_canvas: SensorCanvas | None = None
        self._live: LiveView | None = None
        self._load(settings)

    # --- pictures ---------------------------------------------------------------------------------------------------

    def live_view_jpeg(
        self, exposure: Exposure, width_px: int = LIVE_SIZE_PX[0], height_px: int = LIVE_SIZE_PX[1]
    ) -> bytes:
        """A live-view picture of this moment."""
        now = self._now_s()
        opened = now - min(exposure.time_s, LIVE_LONGEST_S)
        with self._state:
            self.hand.step(now)
            seen_from = max(opened, min(now, self.track.last_jump_s(now)))
            poses = [self.track.pose_at(seen_from), self.track.pose_at(now)]
            light, shelf = self._light, self.shelf
            at_rest = self.track.speed_at(now) == 0.0
        if poses[1].strip != NO_STRIP and at_rest:
            half = shelf.plan.film_format.view_width_mm / 2 + 1.0
            shelf.draw_ahead(poses[1].strip, poses[1].position_mm - half, poses[1].position_mm + half)
        if poses[0].strip != poses[1].strip:
            poses[0] = poses[1]
        with self._live_lock:
            view = self._live_view(width_px, height_px)
            canvas = None if poses[1].strip == NO_STRIP else shelf.live_canvas(poses[1].strip)
            picture = view.picture(canvas, poses, exposure, light, opened, self._focus_error_mm)
            return view.jpeg(picture)

    def expose(self, exposure: Exposure, opened_at_s: float) -> Picture:
        """The RAW of an exposure that has ended; the film is where it was from `opened_at_s` on for `time_s`."""
        with self._state:
            self.hand.step(max(self._now_s(), opened_at_s + exposure.time_s))
            poses = self._poses_between(opened_at_s, exposure.time_s)
            truth = self._truth(opened_at_s + exposure.time_s / 2)
            light, shelf, view = self._light, self.shelf, self._sensor_view
            shot, self._shots = self._shots, self._shots + 1
            self.hand.hear("shot", self._now_s())
        with self._raw_lock:
            film = self._film_for_raw(shelf, view, poses, exposure.f_number)
            mosaic = view.mosaic(film, poses, exposure, light, opened_at_s, shot)
            return self._to_files(mosaic, exposure, opened_at_s, truth)

    def _to_files(self, mosaic: Mosaic, exposure: Exposure, opened_at_s: float, truth: dict[str, object]) -> Picture:
        settings = self.settings
        taken_at = self._started_at + timedelta(seconds=opened_at_s - self._start_s)
        info = dng.ShotInfo(exposure, taken_at, settings.make, settings.model, settings.serial)
        developed = mosaic.developed()
        preview = cv2.resize(developed, PREVIEW_SIZE_PX, interpolation=cv2.INTER_AREA)
        thumb = cv2.resize(preview, THUMB_SIZE_PX, interpolation=cv2.INTER_AREA)
        raw = mosaic.interleaved()
        return Picture(
            dng=dng.write_dng(raw, _jpeg(preview, 88), PREVIEW_SIZE_PX, info),
            jpeg=dng.add_exif_to_jpeg(_jpeg(developed, 92), info),
            thumb=_jpeg(thumb, 85),
            width_px=raw.shape[1],
            height_px=raw.shape[0],
            truth=truth | {
                "opened_at_s": opened_at_s, "time_s": exposure.time_s,
                "f_number": exposure.f_number, "iso": exposure.iso,
            },
        )  # fmt: skip

    def _poses_between(self, opened_at_s: float, time_s: float) -> list[Pose]:
        """Poses that stand for an exposure: one if the film lay still, up to `MOST_POSES` along its path."""
        closed_at_s = opened_at_s + time_s
        opened_at_s = max(opened_at_s, min(closed_at_s, self.track.last_jump_s(closed_at_s)))
        time_s = closed_at_s - opened_at_s
        fine = [self.track.pose_at(opened_at_s + time_s * step / 16) for step in range(17)]
        fine = [pose for pose in fine if pose.strip == fine[8].strip]
        path = sum(math.dist(a[1:3], b[1:3]) for a, b in pairwise(fine))
        turn = max(pose.tilt_deg for pose in fine) - min(pose.tilt_deg for pose in fine)
        # A turn moves the corners; 20 mm is their distance from the middle.
        steps = (path + math.radians(turn) * 20.0) / self._sensor_view.mm_per_px
        count = min(MOST_POSES, 1 + math.floor(steps / 0.3))
        if count == 1:
            return [fine[len(fine) // 2]]
        middles = [(step + 0.5) / count for step in range(count)]
        poses = [self.track.pose_at(opened_at_s + time_s * middle) for middle in middles]
        return [pose for pose in poses if pose.strip == fine[len(fine) // 2].strip] or [fine[len(fine) // 2]]

    def _film_for_raw(
        self, shelf: FilmShelf, view: SensorView, poses: list[Pose], f_number: float
    ) -> SensorCanvas | None:
        strip_number = poses[0].strip
        if strip_number == NO_STRIP:
            return None
        half = view.film_format.view_width_mm / 2 + 1.0
        left, right = min(p.position_mm for p in poses) - half, max(p.position_mm for p in poses) + half
        canvas = shelf.raw_canvas(strip_number, left, right)
        lens_mm = sensor.blur_mm(view.film_format, f_number, self._focus_error_mm)
        kept = self._sensor_canvas
        if kept is None or kept.canvas is not canvas or kept.lens_mm != lens_mm:
            kept = self._sensor_canvas = to_sensor_canvas(canvas, lens_mm, view.mm_per_px)
        return kept

    def _live_view(self, width_px: int, height_px: int) -> LiveView:
        view, shelf = self._live, self.shelf
        if view is None or view.film_format is not shelf.plan.film_format or view.kind is not shelf.plan.kind or (
            (view.width_px, view.height_px) != (width_px, height_px)
        ):  # fmt: skip
            view = LiveView(shelf.plan.film_format, shelf.plan.kind, width_px, height_px, self.settings.seed)
            self._live = view
        return view

    # --- film-side commands -----------------------------------------------------------------------------------------

    def control(self, command: Mapping[str, object]) -> dict[str, object]:
        """Carry out one film-side command of the control channel.

        Parameters
        ----------
        command : mapping
            ``{"cmd": "truth" | "place" | "move" | "hand" | "bell" | "held" | "light" | "focus" | "film", ...}``.

        Returns
        -------
        dict
            ``{"ok": True, ...}``, or ``{"ok": False, "error": "..."}`` when a value makes no sense.
        """
        actions = {
            "truth": self._do_truth, "place": self._do_place, "move": self._do_move, "hand": self._do_hand,
            "bell": self._do_hear, "held": self._do_hear, "light": self._do_light, "focus": self._do_focus,
            "film": self._do_film,
        }  # fmt: skip
        name = str(command.get("cmd"))
        if name not in actions:
            return {"ok": False, "error": f"the rig knows no command '{name}'; it knows {', '.join(actions)}"}
        try:
            with self._state:
                self.hand.step(self._now_s())
                return {"ok": True, **actions[name](command)}
        except (ValueError, TypeError, KeyError, IndexError) as error:
            return {"ok": False, "error": f"{name}: {error}"}

    def close(self) -> None:
        """Stop the threads that draw ahead."""
        self.shelf.close()

    def _do_truth(self, _command: Mapping[str, object]) -> dict[str, object]:
        return self._truth(self._now_s())

    def _do_place(self, command: Mapping[str, object]) -> dict[str, object]:
        now = self._now_s()
        strip_number = read_integer(command, "strip", max(self.track.pose_at(now).strip, 0))
        frame = read_integer(command, "frame", 0)
        along, across, tilt = (read_number(command, key, 0.0) for key in ("along_mm", "across_mm", "tilt_deg"))
        self.hand.go(Move(self._pose_for(strip_number, frame, along, across, tilt), 0.0), now)
        self.hand.set_frame(frame)
        return {}

    def _do_move(self, command: Mapping[str, object]) -> dict[str, object]:
        now = self._now_s()
        pose = self.track.pose_at(now)
        if pose.strip == NO_STRIP:
            raise ValueError("there is no film in the holder to move; place it first")
        seconds = read_number(command, "seconds", 0.8)
        if seconds < 0.0:
            raise ValueError(f"a move cannot take {seconds} s")
        if "to_frame" in command:
            frame = read_integer(command, "to_frame", 0)
            target = self._pose_for(pose.strip, frame, 0.0, 0.0, 0.0)
            self.hand.set_frame(frame)
        else:
            target = pose._replace(position_mm=pose.position_mm - read_number(command, "by_mm", 0.0))
        self.hand.go(Move(target, seconds), now)
        return {}

    def _do_hand(self, command: Mapping[str, object]) -> dict[str, object]:
        actions = {"start": self.hand.start, "stop": self.hand.stop, "next": self.hand.next_frame}
        what = str(command.get("do"))
        if what not in actions:
            raise ValueError(f"'do' is '{what}'; it can be {', '.join(actions)}")
        actions[what](self._now_s())
        return {}

    def _do_hear(self, command: Mapping[str, object]) -> dict[str, object]:
        self.hand.hear(str(command["cmd"]), self._now_s())
        return {}

    def _do_light(self, command: Mapping[str, object]) -> dict[str, object]:
        light = Light(
            read_number(command, "level", self._light.level),
            read_number(command, "flicker_hz", self._light.flicker_hz),
            read_number(command, "depth", self._light.depth),
        )
        if light.level < 0.0 or not 0.0 <= light.depth <= 1.0 or light.flicker_hz < 0.0:
            raise ValueError(f"level and flicker_hz must not be negative, depth lies in 0 to 1; got {light}")
        self._light = light
        return {"level": light.level, "flicker_hz": light.flicker_hz, "depth": light.depth}

    def _do_focus(self, command: Mapping[str, object]) -> dict[str, object]:
        """Move the camera out of focus: `error_mm` between the film and the plane of sharpness."""
        self._focus_error_mm = read_number(command, "error_mm", 0.0)
        return {"error_mm": self._focus_error_mm}

    def _do_film(self, command: Mapping[str, object]) -> dict[str, object]:
        """Lay other film on the table, or another strip into the holder."""
        names = {
            "kind": "film_kind", "format": "film_format", "seed": "seed", "strips": "strips",
            "frames_per_strip": "frames_per_strip", "scenes": "scenes", "blank": "blank_frames",
            "first_label": "first_label",
        }  # fmt: skip
        unknown = set(command) - set(names) - {"cmd", "strip"}
        if unknown:
            raise ValueError(f"unknown word '{sorted(unknown)[0]}'; known are strip, {', '.join(names)}")
        changes: dict[str, object] = {names[key]: command[key] for key in names if key in command}
        for key in ("scenes", "blank_frames"):
            if key in changes:
                changes[key] = tuple(changes[key])  # type: ignore[arg-type]
        if changes:
            if changes.keys() & {"film_format"} and "frames_per_strip" not in changes:
                changes["frames_per_strip"] = FORMATS[str(changes["film_format"])].frames_per_strip
            settings = replace(self.settings, hand="none", **changes)  # type: ignore[arg-type]
            old = self.shelf
            self._load(settings)
            old.close()
        strip_number = read_integer(command, "strip", 0)
        if strip_number == NO_STRIP:
            self.hand.go(Move(Pose(NO_STRIP, 0.0, 0.0, 0.0), 0.0), self._now_s())
        else:
            self.hand.go(Move(self._pose_for(strip_number, 0, 0.0, 0.0, 0.0), 0.0), self._now_s())
            self.hand.set_frame(0)
        return {"strips": self.settings.strips}

    # --- state ------------------------------------------------------------------------------------------------------

    def _load(self, settings: RigSettings) -> None:
        """Put film on the table and make the hand ready; raises ValueError for words that mean nothing."""
        plan = plan_strips(settings)
        self._sensor_view = SensorView(
            plan.film_format, plan.kind, settings.sensor_width_px, settings.sensor_height_px, settings.seed
        )
        self.settings = settings
        width_mm = plan.film_format.view_width_mm
        scales = LIVE_SIZE_PX[0] / width_mm, settings.sensor_width_px / width_mm
        self.shelf = FilmShelf(plan, settings.strips, *scales)
        self._live = None
        work = Work(
            lambda strip: len(self._strip(strip).frames),
            settings.strips,
            self._pose_for,
            lambda strip: placing.end_poses(self._strip(strip)),
        )
        scale = FAST_SCALE if settings.fast else 1.0
        empty = Pose(NO_STRIP, 0.0, 0.0, 0.0)
        begin = empty if settings.hand != "none" else self._pose_for(0, 0, 0.0, 0.0, 0.0)
        now = self._now_s()
        self.track = Track(now, begin)
        self.hand = Hand(work, self.track, settings.hand, settings.seed, scale)
        if settings.hand != "none":
            self.hand.start(now)

    def _strip(self, number: int) -> Strip:
        return self.shelf.strip(number)

    def _pose_for(self, strip_number: int, frame_number: int, along: float, across: float, tilt: float) -> Pose:
        strip = self._strip(strip_number)
        if not 0 <= frame_number < len(strip.frames):
            raise ValueError(
                f"frame {frame_number} is not on strip {strip_number}; it has 0 to {len(strip.frames) - 1}"
            )
        return placing.pose_for(strip, strip.frames[frame_number], along, across, tilt)

    def _truth(self, time_s: float) -> dict[str, object]:
        pose = self.track.pose_at(time_s)
        film_format = self.shelf.plan.film_format
        mm_per_px = film_format.view_width_mm / LIVE_SIZE_PX[0]
        truth: dict[str, object] = {
            "t_s": time_s, "strip": None, "strips": self.settings.strips, "film_present": False,
            "position_mm": pose.position_mm, "speed_mm_s": self.track.speed_at(time_s), "along_mm": None,
            "across_mm": None, "tilt_deg": None, "frame_index": None, "frame_label": None, "offset_mm": None,
            "corners_px": None, "mm_per_px": mm_per_px, "blank": None, "scene": None,
            "hand_working": self.hand.working,
        }  # fmt: skip
        if pose.strip == NO_STRIP:
            return truth
        strip = self._strip(pose.strip)
        frame = strip.nearest_frame(pose.position_mm)
        offset = placing.frame_offset_mm(pose, frame)
        half_opening = film_format.opening_along_mm / 2
        return truth | {
            "strip": pose.strip,
            "film_present": -half_opening < pose.position_mm < strip.length_mm + half_opening,
            "along_mm": offset[0], "across_mm": offset[1], "tilt_deg": pose.tilt_deg + frame.tilt_deg,
            "frame_index": frame.index, "frame_label": frame.label, "offset_mm": list(offset),
            "corners_px": placing.corners_px(pose, strip, frame, LIVE_SIZE_PX),
            "blank": frame.blank, "scene": None if frame.blank else frame.scene,
        }  # fmt: skip


def _jpeg(picture: NDArray[np.uint8] | cv2.typing.MatLike, quality: int) -> bytes:
    return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
