"""kill -9 in mid-roll, start again: the roll goes on at the right frame and nothing that was filed is lost."""

import json
import re
import subprocess
import sys
import threading
from pathlib import Path

import psutil
import pytest

from tethercap.cli._simulated import SimulatedCamera
from tethercap.roll.fixity import verify

FILED = re.compile(r"frame (\S+) filed")
RUN_LIMIT_S = 150


class Capture:
    """`tethercap capture` as a process, its lines read one by one."""

    def __init__(self, folder: Path, port: str) -> None:
        command = [sys.executable, "-m", "tethercap.cli.main", "capture", str(folder), "--port", port]
        self.process = subprocess.Popen(
            [*command, "--hands-free", "--plain", "--no-convert"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        self._limit = threading.Timer(RUN_LIMIT_S, self.process.kill)
        self._limit.start()
        self._last = ""

    def wait_for_frame(self) -> str:
        """Number of the next frame that is filed; another take of the last one is passed over."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if (match := FILED.search(line)) and match[1] != self._last:
                self._last = match[1]
                return self._last
        raise AssertionError("it ended before a frame was filed")

    def kill(self) -> list[psutil.Process]:
        """End it without a word; return the processes it leaves behind."""
        children: list[psutil.Process] = psutil.Process(self.process.pid).children(recursive=True)
        self.process.kill()
        self._finish()
        return children

    def leave(self) -> None:
        """End it as a person does."""
        assert self.process.stdin is not None
        self.process.stdin.write("leave\n")
        self.process.stdin.flush()
        self.process.wait(60)
        self._finish()

    def _finish(self) -> None:
        self._limit.cancel()
        self._limit.join()
        self.process.communicate()


@pytest.mark.timeout(400)
def test_the_roll_goes_on_at_the_right_frame(tmp_path: Path) -> None:
    folder = tmp_path / "killed"
    simulated = SimulatedCamera(["--hand", "bell", "--fast", "--sensor", "3000x2000"])
    try:
        first = Capture(folder, simulated.port)
        for expected in ("1", "2"):
            assert first.wait_for_frame() == expected
            simulated.ask("bell")
        left_behind = first.kill()
        gone, alive = psutil.wait_procs(left_behind, timeout=20)
        assert not alive, f"{alive} outlived their parent, {len(gone)} ended"

        second = Capture(folder, simulated.port)
        for expected in ("3", "4"):
            assert second.wait_for_frame() == expected
            simulated.ask("bell")
        second.leave()
        labels = [shot["frame_label"] for shot in simulated.ask("shots")["shots"]]
    finally:
        simulated.close()

    lines = [json.loads(line) for line in (folder / "record.jsonl").read_text().splitlines()]
    accepted = [line["frame"] for line in lines if line["kind"] == "filed" and line["accepted"]]
    assert accepted[:4] == ["1", "2", "3", "4"]
    assert set(accepted) <= set(labels)
    assert verify(folder).is_sound
    assert not list((folder / "raw").glob(".*")), "no passing names are left"
