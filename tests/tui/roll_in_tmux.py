"""A whole roll in the real program in tmux: the screen is read and keys are pressed, as a person would.

    python -m tests.tui.roll_in_tmux --mode keys --out FOLDER [--strips 6] [--small]
    python -m tests.tui.roll_in_tmux --mode hands-free --out FOLDER

A simulated hand pulls the film on when it hears that a frame is filed. By keys: the space bar is pressed when the
screen says so. At the end the roll on disk is held to the simulated camera's own truth; exit code 1 where anything is
wrong.
"""

import argparse
import json
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.tui.in_tmux import TmuxRun, why_no_tmux
from tethercap.cli._simulated import SimulatedCamera
from tethercap.roll.fixity import verify

_LOOK_EVERY_S = 0.08
_PRESS_AGAIN_S = 15.0
"""A key that changed nothing is pressed again after this."""


@dataclass
class Outcome:
    """What a roll in tmux came to."""

    filed: list[str] = field(default_factory=list)
    """Numbers of the accepted frames, in the order of the record."""
    labels: list[str] = field(default_factory=list)
    """What the film says, for the same shots."""
    fired_by: list[str] = field(default_factory=list)
    keys_pressed: int = 0
    seconds: float = 0.0
    exit_code: int | None = None
    last_screen: str = ""
    faults: list[str] = field(default_factory=list)


def filed_lines(folder: Path) -> list[dict[str, Any]]:
    """Pictures filed so far, as the roll's record has them."""
    record = folder / "record.jsonl"
    if not record.exists():
        return []
    lines = [json.loads(text) for text in record.read_text().splitlines() if text.endswith("}")]
    return [line for line in lines if line["kind"] == "filed"]


def run_roll(
    folder: Path,
    *,
    mode: str,
    strips: int = 6,
    per_strip: int = 6,
    size: tuple[int, int] = (120, 40),
    camera: tuple[str, ...] = (),
    program: tuple[str, ...] = (),
    limit_s: float = 1500.0,
    pictures: Path | None = None,
) -> Outcome:
    """Capture a roll in tmux.

    Parameters
    ----------
    folder : Path
        Of the roll; not there yet.
    mode : str
        "keys" or "hands-free".
    camera, program : tuple of str
        More options of the simulated camera, and of `tethercap capture`.
    pictures : Path, optional
        Where to keep the screen as it was after every sixth frame, as escape text.
    """
    frames = strips * per_strip
    flags = ("--hand", "bell", "--strips", str(strips), "--frames-per-strip", str(per_strip), *camera)
    outcome = Outcome()
    with SimulatedCamera(flags) as simulated:
        firing = "--hands-free" if mode == "hands-free" else "--by-key"
        command = ["-m", "tethercap.cli.main", "capture", str(folder), "--port", simulated.port, firing]
        with TmuxRun([*command, "--frames", str(frames), *program], size=size) as tmux:
            began_s = time.monotonic()
            by_keys = {"keys": frames, "both": frames // 2}.get(mode, 0)
            _work(tmux, simulated, folder, outcome, by_keys=by_keys, frames=frames, limit_s=limit_s, pictures=pictures)
            outcome.seconds = time.monotonic() - began_s
            outcome.last_screen = _screen_once_whole(tmux, frames)
            _leave(tmux, outcome)
        shots = simulated.ask("shots")["shots"]
    _judge(folder, shots, outcome, frames)
    return outcome


def _work(
    tmux: TmuxRun,
    simulated: SimulatedCamera,
    folder: Path,
    outcome: Outcome,
    *,
    by_keys: int,
    frames: int,
    limit_s: float,
    pictures: Path | None,
) -> None:
    """Be the eye and the finger at the keyboard, and let the hand hear what is filed, until the roll is whole."""
    give_up_s = time.monotonic() + limit_s
    heard, pressed_at_s, pressed_for = 0, 0.0, -1
    while len(outcome.filed) < frames and time.monotonic() < give_up_s and not tmux.has_ended():
        for line in filed_lines(folder)[heard:]:
            heard += 1
            is_new = line["accepted"] and line["frame"] not in outcome.filed
            if is_new or not line["accepted"]:
                simulated.ask("bell" if is_new else "held")
            if is_new:
                outcome.filed.append(line["frame"])
                if len(outcome.filed) == by_keys < frames:
                    tmux.press("h")
                if pictures is not None and len(outcome.filed) % 6 == 0:
                    (pictures / f"screen-{len(outcome.filed):02d}.ansi").write_text(tmux.drawn())
        now_s = time.monotonic()
        may_press = pressed_for != heard or now_s - pressed_at_s > _PRESS_AGAIN_S
        if len(outcome.filed) < by_keys and may_press and "press space" in tmux.text():
            tmux.press("Space")
            outcome.keys_pressed += 1
            pressed_at_s, pressed_for = now_s, heard
        time.sleep(_LOOK_EVERY_S)


def _screen_once_whole(tmux: TmuxRun, frames: int) -> str:
    """The screen when it says that the roll is whole, a moment after the record does; else as it is by then."""
    give_up_s = time.monotonic() + 10
    while f"all {frames} done" not in (shown := tmux.text()) and time.monotonic() < give_up_s:
        time.sleep(_LOOK_EVERY_S)
    return shown


def _leave(tmux: TmuxRun, outcome: Outcome) -> None:
    """Press q, say yes where positives are still being made, and wait for the end."""
    if tmux.has_ended():
        outcome.faults.append("the program ended by itself")
    tmux.press("q")
    give_up_s = time.monotonic() + 240
    while not tmux.has_ended() and time.monotonic() < give_up_s:
        if "y: yes" in tmux.text():
            tmux.press("y")
        time.sleep(0.2)
    outcome.exit_code = tmux.exit_code()
    if outcome.exit_code != 0:
        outcome.last_screen = tmux.text()


def _judge(folder: Path, shots: list[dict[str, Any]], outcome: Outcome, frames: int) -> None:
    lines = filed_lines(folder)
    accepted = [
        (line, shot) for line, shot in zip(lines, shots, strict=False) if line["accepted"] and line["take"] == 1
    ]
    outcome.labels = [shot["frame_label"] for _, shot in accepted]
    outcome.fired_by = [line["fired_by"] for line, _ in accepted]
    wanted = [str(number + 1) for number in range(frames)]
    if outcome.filed != wanted:
        outcome.faults.append(f"filed {outcome.filed} instead of {wanted}")
    outcome.faults += [
        f"frame {shot['frame_label']} was filed as {line['frame']}"
        for line, shot in accepted
        if line["frame"] != shot["frame_label"]
    ]
    if len(lines) != len(shots):
        outcome.faults.append(f"{len(shots)} shots, {len(lines)} filed")
    if not verify(folder).is_sound:
        outcome.faults.append("checksums are NOT all right")
    if outcome.exit_code != 0:
        outcome.faults.append(f"exit code {outcome.exit_code}")


def main() -> int:
    """Run, print, judge."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--mode", choices=["keys", "hands-free", "both"], required=True)
    parser.add_argument("--out", type=Path, required=True, help="folder for the roll and pictures of the screen")
    parser.add_argument("--strips", type=int, default=6)
    parser.add_argument("--small", action="store_true", help="RAW files of 6 megapixels")
    parser.add_argument("--fast", action="store_true", help="the hand and the camera hurry")
    asked = parser.parse_args()
    if why_no_tmux():
        print(why_no_tmux())
        return 2
    asked.out.mkdir(parents=True, exist_ok=True)
    camera = (*(("--sensor", "3000x2000") if asked.small else ()), *(("--fast",) if asked.fast else ()))
    outcome = run_roll(
        asked.out / f"roll-{asked.mode}", mode=asked.mode, strips=asked.strips, camera=camera, pictures=asked.out
    )
    per_minute = 60 * len(outcome.filed) / max(outcome.seconds, 1e-9)
    print(f"{len(outcome.filed)} frames filed in {outcome.seconds:.0f} s, {per_minute:.1f} a minute; ", end="")
    print(f"{outcome.keys_pressed} key presses; numbers as on the film: {outcome.filed == outcome.labels}")
    print("\n".join([*outcome.faults, outcome.last_screen]) if outcome.faults else "nothing wrong")
    return 1 if outcome.faults else 0


if __name__ == "__main__":
    sys.exit(main())
