"""Rolls as they come back from a bad disk or busy hands: damaged texts, files renamed, doubled, cut and left over."""

import hashlib
import shutil
import tempfile
from functools import cache
from pathlib import Path

from hypothesis import strategies as st

from tests.fuzz.damage import damaged
from tests.fuzz.files import summed
from tethercap.errors import TethercapError
from tethercap.film.kinds import FilmKind
from tethercap.roll.fixity import verify
from tethercap.roll.folder import Roll, RollSetup, TakeOutcome
from tethercap.roll.names import FrameId
from tethercap.roll.store import Disk

_SETUP = RollSetup(id="FUZZ-1", film_kind=FilmKind.SLIDE, film_format="135-36x24")
_NAMES = (
    "raw/FUZZ-1_01.dng", "raw/FUZZ-1_02.dng", "raw/FUZZ-1_02_t2.dng", "raw/FUZZ-1_03.dng", "raw/FUZZ-1_04.dng",
    "raw/.FUZZ-1_05.dng.0a1b2c3d.whole", "raw/.FUZZ-1_06.dng.0a1b2c3d.part", "raw/FUZZ-1_36A.jpg", "raw/FUZZ-1_01.xmp",
    "raw/.FUZZ-1_01.dng.moving", "aside/x", "raw/FUZZ-1_99.dng.new", "raw/note.txt",
    "positive/FUZZ-1_01.tif", "manifest-sha256.txt", "raw/.FUZZ-1_01.xmp.new",
)  # fmt: skip


class _HastyDisk(Disk):
    """The real disk, without waiting for it."""

    def sync(self, handle: int) -> None:
        """Do not wait."""

    def sync_folder(self, path: Path) -> None:
        """Do not wait."""


@cache
def _template() -> Path:
    """Give a roll of three frames, renumbered once, with a positive, that lives as long as this process."""
    keeper = tempfile.TemporaryDirectory(prefix="fuzz-roll-")
    _KEPT.append(keeper)
    path = Path(keeper.name) / "FUZZ-1"
    with Roll.create(path, _SETUP, sidecar=_sidecar, layer=_HastyDisk()) as roll:
        for number in (1, 2, 2, 4):
            content = hashlib.sha256(bytes((number, len(list(roll.frames))))).digest() * 20
            roll.file(roll.receive(str(number), ".dng", [content], len(content)), TakeOutcome(accepted=True))
        roll.renumber({FrameId(4): FrameId(3)})
        positive = roll.waiting_path(roll.positive_path("1", 1))
        positive.write_bytes(b"a positive")
        roll.put_positive("1", 1, positive, positive_sha256=hashlib.sha256(b"a positive").hexdigest())
        roll.skip("4", "scratched")
    return path


_KEPT: list[tempfile.TemporaryDirectory[str]] = []


def _sidecar(properties: object) -> bytes:
    return repr(properties).encode()


def cases() -> st.SearchStrategy[tuple[bytes, bytes, list[tuple[str, str, str]]]]:
    """Record, roll.toml, and what else is done to the folder: (copy, move or cut; from; to)."""
    record = (_template() / "record.jsonl").read_bytes()
    setup = (_template() / "roll.toml").read_bytes()
    name = st.sampled_from(_NAMES)
    deeds = st.lists(st.tuples(st.sampled_from(("copy", "move", "cut")), name, name), max_size=4)
    words = (
        b"\n",
        b'"n":1',
        b"{}",
        b"raw/FUZZ-1_01.dng",
        b"raw/.FUZZ-1_05.dng.0a1b2c3d.whole",
        b'"frame":"2"',
        b"true",
    )
    records = st.one_of(st.just(record), damaged([record], words), damaged([record], words).map(summed))
    setups = st.one_of(st.just(setup), st.just(setup), damaged([setup], (b"\n", b"= "), most=2))
    return st.tuples(records, setups, deeds)


def open_a_roll(case: tuple[bytes, bytes, list[tuple[str, str, str]]]) -> None:
    """It opens, or is refused in words; no picture is lost, and opened once more there is nothing to mend."""
    record, setup, deeds = case
    with tempfile.TemporaryDirectory(prefix="fuzz-roll-") as folder:
        path = Path(folder) / "FUZZ-1"
        shutil.copytree(_template(), path)
        (path / "record.jsonl").write_bytes(record)
        (path / "roll.toml").write_bytes(setup)
        for deed, source, target in deeds:
            _do(deed, path / source, path / target)
        pictures = _pictures(path)
        try:
            with Roll.open(path, sidecar=_sidecar, layer=_HastyDisk()) as roll:
                notes = roll.opening_notes
        except TethercapError as error:
            assert str(error)
            assert pictures <= _pictures(path)
            return
        assert pictures <= _pictures(path), notes
        assert not list((path / "raw").glob(".*.part")), notes
        verify(path)
        with Roll.open(path, sidecar=_sidecar, layer=_HastyDisk()) as again:
            fresh = [note for note in again.opening_notes if note not in notes]
        assert not [note for note in fresh if "damaged" not in note], fresh
        assert pictures <= _pictures(path)


def _do(deed: str, source: Path, target: Path) -> None:
    if not source.is_file() or source == target:
        return
    target.parent.mkdir(exist_ok=True)
    if deed == "copy":
        shutil.copyfile(source, target)
    elif deed == "move":
        source.replace(target)
    else:
        source.write_bytes(source.read_bytes()[:50])


def _pictures(path: Path) -> set[bytes]:
    """Content of everything that is or may be a picture."""
    files = (each for folder in ("raw", "aside") for each in (path / folder).glob("*") if each.is_file())
    return {each.read_bytes() for each in files if ".xmp" not in each.name and not each.name.endswith(".new")}
