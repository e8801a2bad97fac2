"""Kill -9 of a capture, its camera process or its workers, again and again over whole rolls; nothing may be lost."""

import json
import os
import queue
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psutil

from tests.bench.chain.truth import LostError, Word, look_at_end, look_at_numbers, look_for_filed
from tethercap.cli._simulated import SimulatedCamera
from tethercap.image_files.metadata import xmp_packet
from tethercap.roll.folder import Roll

VICTIMS = {"capture": 3.0, "camera": 3.0, "checker": 2.0, "converter": 2.0, "prover": 1.0}
"""Who is killed, and how often compared with each other."""
MOMENTS = {
    "any": 2.0,
    "exposing": 1.0,
    "pulling": 1.0,
    "checking": 1.0,
    "filed": 1.5,
    "opened": 0.5,
    "made": 0.5,
}
"""What is waited for before the kill: any moment, or a word of the capture."""
GRACE_S = 20.0
"""Processes whose parent was killed end within this."""
STUCK_S = 90.0
"""No picture is filed for so long: something hangs."""
REACTION_S = 0.05
_LONGEST_WAIT_S = 8.0
"""For the moment that was chosen."""
_MAY_BE_THERE = frozenset({"capture.log", "state", f"tethercap-{os.getuid()}"})
"""In the folder for temporary files: logs, and the locks that cameras are taken with."""


@dataclass
class KillFigures:
    """What a run of kills added up to."""

    kills: Counter[str] = field(default_factory=Counter)
    moments: Counter[str] = field(default_factory=Counter)
    """Killed, and what it was doing then."""
    starts: int = 0
    rolls: int = 0
    filed: int = 0
    frames: int = 0
    notes: Counter[str] = field(default_factory=Counter)
    """What opening the roll put right, by kind."""
    troubles: Counter[str] = field(default_factory=Counter)
    known_by_view: int = 0
    """Starts with a filed frame still in the holder, which was known again."""
    seconds: float = 0.0

    @property
    def total(self) -> int:
        """Kills of all kinds."""
        return sum(self.kills.values())


class Capture:
    """The process that is going to be killed, and its words."""

    def __init__(self, folder: Path, port: str, scratch: Path) -> None:
        self.words: queue.SimpleQueue[dict[str, Any] | None] = queue.SimpleQueue()
        self.processes: dict[str, list[int]] = {}
        self.log = (scratch / "capture.log").open("ab")
        command = [sys.executable, "-m", "tests.bench.chain.capture", str(folder), port]
        environment = {**os.environ, "TMPDIR": str(scratch), "XDG_STATE_HOME": str(scratch / "state")}
        self.process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self.log, env=environment
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if line.endswith(b"\n"):
                self.words.put(json.loads(line))
        self.words.put(None)

    def family(self) -> list[psutil.Process]:
        """The process's children now, and theirs."""
        try:
            children: list[psutil.Process] = psutil.Process(self.process.pid).children(recursive=True)
        except psutil.NoSuchProcess:
            return []
        return children

    def kill(self) -> list[dict[str, Any]]:
        """Kill it; return the words that were not read yet.

        Raises
        ------
        LostError
            If a process of it outlives it.
        """
        family = self.family()
        self.process.kill()
        rest = self._finish()
        _, alive = psutil.wait_procs(family, timeout=GRACE_S)
        if alive:
            raise LostError(f"{[(each.pid, each.cmdline()) for each in alive]} outlived the capture")
        return rest

    def stop(self) -> list[dict[str, Any]]:
        """End it as a person does; return its last words."""
        assert self.process.stdin is not None
        self.process.stdin.write(b"stop\n")
        self.process.stdin.flush()
        try:
            self.process.wait(STUCK_S)
        except subprocess.TimeoutExpired:
            raise LostError("the capture does not end") from None
        return self._finish()

    def _finish(self) -> list[dict[str, Any]]:
        self.process.wait()
        self._reader.join(GRACE_S)
        for stream in (self.process.stdin, self.process.stdout, self.log):
            if stream is not None:
                stream.close()
        rest = []
        while not self.words.empty():
            rest.append(self.words.get())
        return [word for word in rest if word is not None]


class RollUnderFire:
    """One roll on one simulated camera, through any number of kills."""

    def __init__(
        self,
        folder: Path,
        scratch: Path,
        strips: int,
        chance: random.Random,
        figures: KillFigures,
        plan: Sequence[str] = (),
    ) -> None:
        self.folder, self.scratch, self.strips, self._plan = folder, scratch, strips, plan
        self._chance, self._figures = chance, figures
        arguments = ("--hand", "bell", "--fast", "--sensor", "1500x1000", "--strips", str(strips))
        self.simulated = SimulatedCamera((*arguments, "--seed", str(chance.randrange(1 << 16))))
        self.safe: dict[str, Word] = {}
        self._rung: set[str] = set()
        self._unrung: list[dict[str, Any]] = []
        """Words of this life of the capture that nobody reacted to yet."""
        self._capture: Capture | None = None
        self._state = ""
        self._done: Counter[str] = Counter()
        self._last_filed_s = time.monotonic()

    def run(self, most_kills: int) -> None:
        """Kill until the film is at its end or `most_kills` is reached, then let it end by itself and look at all."""
        try:
            while True:
                self._start()
                ended = self._until_gone(most_kills)
                if ended:
                    break
            self._end()
        finally:
            if self._capture is not None and self._capture.process.poll() is None:
                self._capture.kill()
            self.simulated.close()

    # --- one life of the capture

    def _start(self) -> None:
        self._capture = Capture(self.folder, self.simulated.port, self.scratch)
        self._figures.starts += 1
        self._state, self._last_filed_s = "", time.monotonic()
        self._unrung.clear()

    def _until_gone(self, most_kills: int) -> bool:
        """Kill now and then until the capture itself was killed; true where the film came to its end."""
        while True:
            if self._figures.total >= most_kills:
                victim, moment, at_s = "", "", float("inf")
            else:
                victim = self._plan[self._figures.total] if self._plan else self._choose(VICTIMS)
                moment = self._choose(MOMENTS if victim == "capture" else {**MOMENTS, "opened": 0.0})
                at_s = self._moment(moment)
            if self._listen(moment, at_s):
                return True
            if self._killed(victim):
                return False

    def _choose(self, weights: dict[str, float]) -> str:
        return self._chance.choices(list(weights), list(weights.values()))[0]

    def _moment(self, moment: str) -> float:
        return time.monotonic() + (self._chance.uniform(0.0, 6.0) if moment == "any" else _LONGEST_WAIT_S)

    def _listen(self, moment: str, at_s: float) -> bool:
        """Take the capture's words until the moment has come; true where the film came to its end."""
        capture = self._capture
        assert capture is not None
        while time.monotonic() < at_s:
            try:
                word = capture.words.get(timeout=min(0.25, max(0.01, at_s - time.monotonic())))
            except queue.Empty:
                # A capture that starts on an empty holder says nothing of it.
                if self._state in ("", "no film") and self.simulated.has_no_more_film():
                    return True
                self._complain_if_stuck()
                continue
            if word is None:
                raise LostError(f"the capture ended by itself: {self._log_tail()}")
            self._take(word)
            if moment in (word["did"], word.get("state")):
                at_s = min(at_s, time.monotonic() + self._chance.choice((0.0, 0.0, self._chance.uniform(0.0, 0.3))))
            elif word["did"] == "filed":
                # Rung only where no kill comes between: a person, too, hears the bell a moment later.
                self._react(word, at_s)
        return False

    def _react(self, word: dict[str, Any], at_s: float) -> None:
        if time.monotonic() + REACTION_S < at_s:
            time.sleep(REACTION_S)
            self._ring_what_was_not_rung()

    def _ring_what_was_not_rung(self) -> None:
        """The bell was rung all the same: only a process beside the capture was killed."""
        for word in self._unrung:
            self._ring(word)
        self._unrung.clear()

    def _ring(self, word: dict[str, Any]) -> None:
        if word["sha256"] not in self._rung:
            self._rung.add(word["sha256"])
            self.simulated.ask("bell" if word["accepted"] else "held")

    def _take(self, word: dict[str, Any]) -> None:
        self._done[word["did"]] += 1
        if os.environ.get("SOAK_TALK"):
            print(f"{time.monotonic() % 1000:8.2f}", word, flush=True)
        match word["did"]:
            case "filed":
                self.safe[word["sha256"]] = Word(word["frame"], word["take"], word["sha256"], word["accepted"])
                self._last_filed_s = time.monotonic()
                self._unrung.append(word)
            case "state":
                self._state = word["state"]
            case "processes":
                assert self._capture is not None
                self._capture.processes = {key: word[key] for key in VICTIMS if key in word}
            case "opened":
                self._figures.notes.update(_kind_of(note) for note in word["notes"])
            case "lies there":
                self._figures.known_by_view += 1
                self._ring_for_the_frame_in_view()
            case "trouble" | "not made":
                self._figures.troubles[_kind_of(word["error"])[:90]] += 1
            case "failed":
                raise LostError(f"the capture gave up: {word['error']}")

    def _ring_for_the_frame_in_view(self) -> None:
        """A person sees that this frame is filed, and goes on."""
        label = self.simulated.ask("truth")["frame_label"]
        state = look_for_filed(self.folder, self.safe.values())
        for take in state.takes():
            if take.filed.accepted and take.filed.frame == label:
                self._ring({"sha256": take.filed.sha256, "accepted": True})
                return
        raise LostError(f"the capture says that frame {label} is filed, and it is not")

    def _complain_if_stuck(self) -> None:
        if time.monotonic() - self._last_filed_s > STUCK_S:
            raise LostError(f"nothing was filed for {STUCK_S:.0f} s, state {self._state!r}: {self._log_tail()}")

    def _log_tail(self) -> str:
        return (self.scratch / "capture.log").read_text(errors="replace")[-3000:]

    # --- the kill

    def _killed(self, victim: str) -> bool:
        """Kill, and look; true where the capture itself was killed."""
        capture = self._capture
        assert capture is not None
        doing = self._state or "starting"
        if os.environ.get("SOAK_TALK"):
            print(f"{time.monotonic() % 1000:8.2f} KILL", victim, doing, flush=True)
        if victim == "capture":
            for word in capture.kill():
                self._take(word)
            self._count(victim, doing)
            if (self.folder / "roll.toml").exists():
                look_at_numbers(look_for_filed(self.folder, self.safe.values()), self.simulated.ask("shots")["shots"])
            elif self.safe:
                raise LostError("roll.toml is gone")
            return True
        for process_id in capture.processes.get(victim, ()):
            try:
                os.kill(process_id, signal.SIGKILL)
            except ProcessLookupError:
                continue
            self._count(victim, doing)
        self._ring_what_was_not_rung()
        return False

    def _count(self, victim: str, doing: str) -> None:
        self._figures.kills[victim] += 1
        self._figures.moments[f"{victim}, {doing}"] += 1

    # --- the end

    def _end(self) -> None:
        assert self._capture is not None
        for word in self._capture.stop():
            self._take(word)
        if self._done["ended"] != 1:
            raise LostError(f"the capture did not end in order: {self._log_tail()}")
        state = look_for_filed(self.folder, self.safe.values())
        look_at_numbers(state, self.simulated.ask("shots")["shots"])
        self._open_once_more()
        look_at_end(self.folder, self.strips * 6)
        self._figures.filed += len(self.safe)
        self._figures.frames += len(state.frames)
        self._figures.rolls += 1

    def _open_once_more(self) -> None:
        """Open and close the roll as the next run would: what a killed worker left is swept then."""
        with Roll.open(self.folder, sidecar=xmp_packet):
            pass


def _kind_of(text: str) -> str:
    return " ".join(word for word in text.split() if not any(letter.isdigit() or letter in "/_" for letter in word))


def run_kills(
    folder: Path, kills: int, seed: int, *, strips: int = 6, keep: bool = False, plan: Sequence[str] = ()
) -> KillFigures:
    """Kill until `kills` is reached, over as many rolls as that takes; the last roll is captured to its end.

    Parameters
    ----------
    folder : Path
        Rolls and scratch files go there.
    strips : int
        Strips of six frames a roll.
    keep : bool
        Leave the rolls there.
    plan : sequence of str, optional
        Whom to kill, one after the other, instead of by chance.

    Raises
    ------
    LostError
    """
    chance, figures, started_s = random.Random(seed), KillFigures(), time.monotonic()
    scratch = folder / "scratch"
    scratch.mkdir(parents=True, exist_ok=True)
    while figures.total < kills:
        roll = folder / f"roll-{figures.rolls}"
        RollUnderFire(roll, scratch, strips, chance, figures, plan).run(kills)
        if not keep:
            shutil.rmtree(roll)
    left = [path.name for path in scratch.iterdir() if path.name not in _MAY_BE_THERE]
    if left:
        raise LostError(f"left in the folder for temporary files: {left}")
    figures.seconds = time.monotonic() - started_s
    return figures
