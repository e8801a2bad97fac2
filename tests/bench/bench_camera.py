"""What the way from camera to computer costs beside the bare driver, in the same run on the same simulated body.

    python -m tests.bench.bench_camera --picture-mb 60

Prints, for a body that sends as fast as it can and for one that sends 35 MB/s:
key to shutter command (time in the program until the body got the command, live view on), a pull to disk, hashed and
synced, with live view on, against the driver's own file_get of the same object to disk, hashed and synced; and how many
live pictures a second came meanwhile.
"""

import argparse
import hashlib
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from tethercap.camera.base import CameraFile, CaptureFinished, FileAppeared
from tethercap.camera.child import ChildCamera
from tethercap.cli._simulated import SimulatedCamera
from tethercap.exposure.settings import Setting

HERE = Path(__file__).parent
SHUTTER_LAG_S = {True: 0.010, False: 0.050}
"""The simulated body's time from command to open shutter, fast and not (mock_camera's own figures)."""

BARE_DRIVER = """
import hashlib, os, sys, time, warnings
warnings.simplefilter("ignore")
import gphoto2 as gp
port, folder, name, target, rounds = sys.argv[1:6]
for _ in range(int(rounds)):
    context, camera = gp.Context(), gp.Camera()
    ports = gp.PortInfoList(); ports.load()
    camera.set_port_info(ports.get_info(ports.lookup_path(port)))
    abilities = gp.CameraAbilitiesList(); abilities.load(context)
    camera.set_abilities(abilities.get_abilities(abilities.lookup_model("PTP/IP Camera")))
    camera.init(context)
    camera.file_get_info(folder, name, context)
    started = time.perf_counter()
    content = gp.CameraFile()
    camera.file_get(folder, name, gp.GP_FILE_TYPE_NORMAL, content, context)
    view = memoryview(content.get_data_and_size())
    hashlib.sha256(view).hexdigest()
    with open(target, "wb") as file:
        file.write(view); file.flush(); os.fsync(file.fileno())
    print(time.perf_counter() - started)
    camera.exit()
"""


class Body(SimulatedCamera):
    """The simulated body with the heavy rig, which reads the picture's size from its environment."""

    def __init__(self, picture_mb: float, *, fast: bool) -> None:
        os.environ["HEAVY_MB"] = str(picture_mb)
        super().__init__(["--body", "0a", *(["--fast"] if fast else [])], program=[str(HERE / "heavy_rig.py")])

    def shots(self) -> list[dict[str, Any]]:
        """Return what the body took."""
        shots: list[dict[str, Any]] = self.ask("shots")["shots"]
        return shots


def fire_once(camera: ChildCamera) -> tuple[float, CameraFile]:
    """Fire; return when the key was pressed and the file."""
    pressed_s = time.monotonic()
    camera.fire()
    files: list[CameraFile] = []
    while True:
        for event in camera.events():
            if isinstance(event, FileAppeared):
                files.append(event.file)
            if isinstance(event, CaptureFinished):
                return pressed_s, files[0]
        camera.latest_live(10**9, timeout_s=0.002)


def to_disk(pieces: Iterable[bytes], target: Path) -> float:
    """Write, hash and sync pieces; return the seconds it took."""
    started_s = time.perf_counter()
    digest = hashlib.sha256()
    with target.open("wb") as file:
        for piece in pieces:
            digest.update(piece)
            file.write(piece)
        file.flush()
        os.fsync(file.fileno())
    return time.perf_counter() - started_s


def pulled(camera: ChildCamera, file: CameraFile, target: Path, rounds: int) -> tuple[list[float], list[float]]:
    """Pull a file to disk several times; return seconds and live pictures a second of each."""
    seconds, rates = [], []
    for _ in range(rounds):
        before = camera.latest_live(timeout_s=1)
        seconds.append(to_disk(camera.pull(file), target))
        after = camera.latest_live()
        if before is not None and after is not None:
            rates.append((after.sequence - before.sequence) / (after.taken_at_s - before.taken_at_s + 1e-9))
    return seconds, rates


def measure(picture_mb: float, shots: int, rounds: int, *, fast: bool) -> None:
    """Measure one kind of body and print the figures."""
    with tempfile.TemporaryDirectory() as folder, Body(picture_mb, fast=fast) as body:
        target = Path(folder) / "picture.dng"
        camera = ChildCamera(body.port, log_dir=Path(folder))
        camera.change(Setting.SHUTTER, 1 / 1000)
        camera.start_live_view()
        taken = [fire_once(camera) for _ in range(shots)]
        opened = [shot["opened_at_s"] for shot in body.shots()]
        delays_ms = sorted(
            1e3 * (open_s - SHUTTER_LAG_S[fast] - pressed_s)
            for open_s, (pressed_s, _) in zip(opened, taken, strict=True)
        )
        file = taken[-1][1]
        with_live, rates = pulled(camera, file, target, rounds)
        camera.stop_live_view()
        without_live, _ = pulled(camera, file, target, rounds)
        camera.close()
        bare = subprocess.run(
            [sys.executable, "-c", BARE_DRIVER, body.port, file.folder, file.name, str(target), str(rounds)],
            capture_output=True,
            text=True,
            check=True,
        )
    bare_s = statistics.median(map(float, bare.stdout.split()))
    live_s, still_s = statistics.median(with_live), statistics.median(without_live)
    print(f"{'as fast as it can' if fast else '35 MB/s'}: {picture_mb:g} MB, {shots} shots, {rounds} pulls")
    p95_ms = delays_ms[int(0.95 * (len(delays_ms) - 1))]
    print(f"  key to shutter command: median {statistics.median(delays_ms):.1f} ms, p95 {p95_ms:.1f} ms")
    print(f"  bare file_get to disk {bare_s:.2f} s")
    print(f"  pull {still_s / bare_s:.3f} of it, with live view {live_s / bare_s:.3f} of it")
    print(f"  live pictures during a pull: {statistics.median(rates):.1f} /s" if rates else "  no live pictures")


def main() -> None:
    """Measure both kinds of body."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--picture-mb", type=float, default=60.0)
    parser.add_argument("--shots", type=int, default=30)
    parser.add_argument("--rounds", type=int, default=3)
    args = parser.parse_args()
    for fast in (True, False):
        measure(args.picture_mb, args.shots, args.rounds, fast=fast)


if __name__ == "__main__":
    main()
