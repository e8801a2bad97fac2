"""Kill a process that files pictures, at random moments, again and again, and look whether anything was lost.

    python -m tests.bench.soak_roll --kills 300 --seed 7

The process files pictures, retakes, skips, notes positives, renumbers, and says over a pipe what is safe. After each
kill -9 the roll is opened again: every picture that was said to be filed must be there with the right content and
number, no passing name may be left, and the manifest must fit.
"""

import argparse
import hashlib
import json
import os
import random
import shutil
import signal
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

from tethercap.film.kinds import FilmKind
from tethercap.image_files.metadata import xmp_packet
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll, RollSetup, TakeOutcome
from tethercap.roll.names import FrameId

_SETUP = RollSetup(id="SOAK-1", film_kind=FilmKind.BW_NEGATIVE, film_format="135-36x24")
_FRAMES_A_ROLL = 40
_PIECE_BYTES = 1 << 16


@dataclass
class SoakFigures:
    """What a run of kills added up to."""

    kills: int = 0
    rolls: int = 0
    pictures_filed: int = 0
    """Said to be safe, and found again."""
    last_words: Counter[str] = field(default_factory=Counter)
    """What the process had last begun when it was killed."""
    notes: Counter[str] = field(default_factory=Counter)
    """What opening the roll put right, by kind."""
    seconds: float = 0.0


class LostError(AssertionError):
    """Something that was said to be safe is not."""


def soak(folder: Path, kills: int, seed: int, *, picture_bytes: int = 400_000, longest_s: float = 0.25) -> SoakFigures:
    """Kill `kills` times, look after each.

    Parameters
    ----------
    folder : Path
        Rolls are made in it; those that are full are taken away.
    longest_s : float
        A kill comes at most so long after the process began, s.

    Raises
    ------
    LostError
    """
    chance, figures, started_s = random.Random(seed), SoakFigures(), time.monotonic()
    while figures.kills < kills:
        roll = folder / f"roll-{figures.rolls}"
        safe: dict[str, dict[str, Any]] = {}
        while figures.kills < kills and len(safe) < _FRAMES_A_ROLL:
            figures.kills += 1
            words = _run_and_kill(roll, chance.getrandbits(32), picture_bytes, chance.uniform(0.0, longest_s))
            safe |= {str(word["sha256"]): word for word in words if word["did"] == "filed"}
            _renumber_safe(safe, words)
            figures.last_words[str(words[-1]["did"]) if words else "nothing"] += 1
            _look(roll, safe, figures, undecided=_begun_renumbering(words))
        figures.rolls += 1
        figures.pictures_filed += len(safe)
        shutil.rmtree(roll, ignore_errors=True)
    figures.seconds = time.monotonic() - started_s
    return figures


def _run_and_kill(roll: Path, seed: int, picture_bytes: int, after_s: float) -> list[dict[str, Any]]:
    """Let a process work on the roll and kill it; return all that it had said."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _work(roll, seed, picture_bytes, writing)
    os.close(writing)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    with open(reading, "rb") as pipe:  # noqa: PTH123
        said = pipe.read()
    _, status = os.waitpid(child, 0)
    if not (os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL):
        raise LostError(f"the process ended by itself with status {status}: {said[-2000:].decode()}")
    return [json.loads(line) for line in said.splitlines(keepends=True) if line.endswith(b"\n")]


def _work(path: Path, seed: int, picture_bytes: int, writing: int) -> NoReturn:
    """Work on the roll for ever; never returns into the parent's code."""

    def tell(**words: object) -> None:
        os.write(writing, json.dumps(words).encode() + b"\n")

    try:
        chance = random.Random(seed)
        is_made = (path / "roll.toml").exists()
        roll = Roll.open(path, sidecar=xmp_packet) if is_made else _create(path)
        while True:
            _do_something(roll, chance, picture_bytes, tell)
    except BaseException as error:
        tell(did="failed", error=f"{type(error).__name__}: {error}")
    finally:
        os._exit(70)


def _create(path: Path) -> Roll:
    # A kill in the middle of making a roll leaves a folder without roll.toml, in which nothing can have been filed.
    shutil.rmtree(path, ignore_errors=True)
    return Roll.create(path, _SETUP, sidecar=xmp_packet)


def _do_something(roll: Roll, chance: random.Random, picture_bytes: int, tell: Callable[..., None]) -> None:
    lot = chance.random()
    if lot < 0.06:
        roll.skip(roll.next_frame_id(), "scratched")
    elif lot < 0.12 and roll.frames:
        moves = _trade(roll, chance)
        tell(did="renumbering", moves={str(old): str(new) for old, new in moves.items()})
        roll.renumber(moves)
        tell(did="renumbered")
    elif lot < 0.25 and (waiting := roll.unfinished_conversions()):
        taken = waiting[0]
        positive = roll.waiting_path(roll.positive_path(taken.frame_id, taken.take))
        content = chance.randbytes(5000)
        positive.write_bytes(content)
        roll.put_positive(taken.frame_id, taken.take, positive, positive_sha256=hashlib.sha256(content).hexdigest())
    else:
        content = chance.randbytes(chance.randint(picture_bytes // 2, picture_bytes))
        pieces = [content[start : start + _PIECE_BYTES] for start in range(0, len(content), _PIECE_BYTES)]
        tell(did="receiving")
        incoming = roll.receive(roll.next_frame_id(), ".dng", pieces, len(content))
        tell(did="filing")
        filed = roll.file(incoming, TakeOutcome(accepted=chance.random() < 0.8))
        tell(did="filed", frame=filed.frame_id, take=filed.take, sha256=filed.sha256, accepted=filed.accepted)


def _trade(roll: Roll, chance: random.Random) -> dict[FrameId, FrameId]:
    """Two frames trade numbers, or one goes to a free one."""
    one, other = chance.choice(list(roll.frames)), chance.choice(list(roll.frames))
    free = max(roll.frames).next(chance.randint(1, 3))
    return {one: other, other: one} if one != other else {one: free}


def _renumber_safe(safe: dict[str, dict[str, Any]], words: list[dict[str, Any]]) -> None:
    """Bring what is known to be safe up to the renumberings that were said to be done; in the order of the words."""
    moves: dict[str, str] = {}
    for word in words:
        if word["did"] == "renumbering":
            moves = dict(word["moves"])
            known_before = set(safe)
        elif word["did"] == "renumbered":
            filed_later = _filed_after(words, word)
            for sha256 in known_before - filed_later:
                safe[sha256]["frame"] = moves.get(str(safe[sha256]["frame"]), safe[sha256]["frame"])


def _filed_after(words: list[dict[str, Any]], mark: dict[str, Any]) -> set[str]:
    place = next(index for index, word in enumerate(words) if word is mark)
    return {str(word["sha256"]) for word in words[place:] if word["did"] == "filed"}


def _begun_renumbering(words: list[dict[str, Any]]) -> dict[str, str]:
    """Moves of a renumbering that was begun and not said to be done."""
    if words and words[-1]["did"] == "renumbering":
        moves: dict[str, str] = words[-1]["moves"]
        return moves
    return {}


def _look(path: Path, safe: dict[str, dict[str, Any]], figures: SoakFigures, undecided: dict[str, str]) -> None:
    """Open the roll as the next run would and compare it with what was said to be safe."""
    if not (path / "roll.toml").exists():
        if safe:
            raise LostError("roll.toml is gone")
        return
    with Roll.open(path, sidecar=xmp_packet) as roll:
        figures.notes.update(_kind_of(note) for note in roll.opening_notes)
        places = {take.filed.sha256: (frame, take) for frame in roll.frames.values() for take in frame.takes}
        for sha256, said in safe.items():
            if sha256 not in places:
                raise LostError(f"frame {said['frame']} take {said['take']} is not in the roll")
            frame, take = places[sha256]
            may_be = {said["frame"], undecided.get(str(said["frame"]), said["frame"])}
            if str(frame.frame_id) not in may_be or take.number != said["take"]:
                raise LostError(f"{said} is frame {frame.frame_id} take {take.number}")
            said["frame"] = str(frame.frame_id)
            if hashlib.sha256((path / take.filed.file).read_bytes()).hexdigest() != sha256:
                raise LostError(f"{take.filed.file} has other content")
            if take.filed.accepted is not said["accepted"]:
                raise LostError(f"{take.filed.file} was accepted: {said['accepted']}")
    report = verify(path)
    if not report.is_sound or [file for file in report.extra if not file.startswith("positive/")]:
        raise LostError(str(report))


def _kind_of(note: str) -> str:
    return " ".join(word for word in note.split() if not any(letter.isdigit() or letter == "/" for letter in word))


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description="Kill a process that files pictures, and look for losses.")
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--picture-kb", type=int, default=400)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="soak-roll-") as folder:
        figures = soak(Path(folder), options.kills, options.seed, picture_bytes=options.picture_kb * 1000)
    print(f"{figures.kills} kills over {figures.rolls} rolls in {figures.seconds:.0f} s; seed {options.seed}")
    print(f"{figures.pictures_filed} pictures were said to be filed; all are there, with their content and number")
    for title, counts in (("killed after", figures.last_words), ("put right", figures.notes)):
        for what, count in counts.most_common():
            print(f"  {title}: {count:4d} x {what}")


if __name__ == "__main__":
    main()
