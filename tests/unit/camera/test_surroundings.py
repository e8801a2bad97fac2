"""What surrounds the driver: locks, holders, rules, learned gaps, families, and the search on the card."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from tethercap.camera import checkup, holders
from tethercap.camera.base import CameraFile, CameraIdentity
from tethercap.camera.card_search import find_missing
from tethercap.camera.families import TRAITS, Family, family_of
from tethercap.camera.learned import FILE_NAME, load_gaps, save_gap
from tethercap.camera.locks import CameraLock
from tethercap.camera.protocol import CardMemory
from tethercap.errors import CameraGoneError, CameraInUseError, CameraPermissionError, CameraRefusedError, NoCameraError

# Locks


def test_a_camera_is_claimed_by_one_and_free_again_afterwards(tmp_path: Path) -> None:
    first = CameraLock("port usb:001,004", 4711, tmp_path)
    with pytest.raises(CameraInUseError, match="process 4711") as caught:
        CameraLock("port usb:001,004", 4712, tmp_path)
    assert caught.value.todo
    other = CameraLock("port usb:001,005", 4712, tmp_path)
    first.release()
    first.release()
    CameraLock("port usb:001,004", 4712, tmp_path).release()
    other.release()


def test_a_lock_file_full_of_rubbish_does_no_harm(tmp_path: Path) -> None:
    (tmp_path / "serial_..._evil.lock").write_text("not json")
    lock = CameraLock("serial ../../evil", 1, tmp_path)
    assert {path.parent for path in tmp_path.rglob("*.lock")} == {tmp_path}
    with pytest.raises(CameraInUseError):
        CameraLock("serial ../../evil", 2, tmp_path)
    lock.release()


# Who holds it, who may


@pytest.mark.parametrize(
    ("port", "node"),
    [
        ("usb:001,004", "/dev/bus/usb/001/004"),
        ("usb:1,14", "/dev/bus/usb/001/014"),
        ("ptpip:1.2.3.4", None),
        ("usb:", None),
    ],
)
def test_the_device_file_of_a_port(port: str, node: str | None) -> None:
    assert holders.device_node(port) == (Path(node) if node else None)


def test_the_program_that_has_the_device_open_is_named(tmp_path: Path) -> None:
    node = tmp_path / "dev" / "004"
    for pid, name, opens in (("4711", "gvfsd-gphoto2", True), ("4712", "editor", False)):
        (tmp_path / "proc" / pid / "fd").mkdir(parents=True)
        (tmp_path / "proc" / pid / "comm").write_text(name + "\n")
        (tmp_path / "proc" / pid / "fd" / "3").symlink_to(node if opens else tmp_path)
    (tmp_path / "proc" / "uptime").write_text("1")
    assert holders.find_holders(node, tmp_path / "proc") == [(4711, "gvfsd-gphoto2")]


def test_our_own_open_file_is_not_a_stranger(tmp_path: Path) -> None:
    path = tmp_path / "node"
    with path.open("w"):
        assert holders.find_holders(path) == []


@pytest.mark.parametrize(("program", "advice"), [("gvfsd-gphoto2", "gio mount -s gphoto2"), ("editor", "Close editor")])
def test_a_claim_is_explained(monkeypatch: pytest.MonkeyPatch, program: str, advice: str) -> None:
    monkeypatch.setattr(holders, "find_holders", lambda _node: [(4711, program)])
    monkeypatch.setattr("sys.platform", "linux")
    error = holders.explain_claim(CameraInUseError("claimed"), "usb:001,004")
    assert program in error.what
    assert "4711" in error.what
    assert advice in error.todo


def test_a_device_file_without_permission(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    node = tmp_path / "004"
    node.touch()
    monkeypatch.setattr(holders, "device_node", lambda _port: node)
    holders.check_access("usb:001,004")
    monkeypatch.setattr("os.access", lambda *_: False)
    with pytest.raises(CameraPermissionError, match="usb:001,004") as caught:
        holders.check_access("usb:001,004")
    assert "doctor --udev" in caught.value.todo


def test_the_rule_names_the_still_image_class_and_no_one_else() -> None:
    rules = [line for line in holders.UDEV_RULE.splitlines() if line and not line.startswith("#")]
    assert len(rules) == 2
    assert "*:060101:*" in rules[0]
    assert all('MODE="0664"' in rule and "0666" not in rule for rule in rules)
    assert holders.UDEV_PATH.name < "73-seat-late.rules"


# The doctor


def usb_device(root: Path, name: str, vendor: str, interface: tuple[str, str], product: str) -> None:
    device = root / name
    (device / f"{name}:1.0").mkdir(parents=True)
    for file, text in {
        "idVendor": vendor, "busnum": "1", "devnum": "4", "manufacturer": "Invented", "product": product,
    }.items():  # fmt: skip
        (device / file).write_text(text + "\n")
    (device / f"{name}:1.0" / "bInterfaceClass").write_text(interface[0] + "\n")
    (device / f"{name}:1.0" / "bInterfaceSubClass").write_text(interface[1] + "\n")


def test_cameras_are_seen_whatever_mode_they_are_in(tmp_path: Path) -> None:
    usb_device(tmp_path, "1-1", "ffff", ("06", "01"), "Body A")
    usb_device(tmp_path, "1-2", "04b0", ("08", "06"), "Body B")
    usb_device(tmp_path, "1-3", "ffff", ("03", "01"), "Keyboard")
    (tmp_path / "usb1").mkdir()
    found = checkup.list_usb_cameras(tmp_path)
    assert [(camera.name, camera.is_still_image) for camera in found] == [
        ("Invented Body A", True),
        ("Invented Body B", False),
    ]
    assert found[0].port == "usb:001,004"


def find_nothing() -> list[CameraIdentity]:
    return []


def driver_fails() -> list[CameraIdentity]:
    raise NoCameraError("It does not load.", todo="Install it.")


def test_the_doctor_says_what_is_wrong_and_what_to_do(tmp_path: Path) -> None:
    stranger = checkup.UsbCamera("usb:001,004", "Invented Body", is_still_image=False)
    findings = {found.name: found for found in checkup.check_up(driver_fails, tmp_path, usb=lambda: [stranger])}
    assert not findings["driver"].well
    assert "Invented Body" in findings["cameras"].sentence
    assert "USB menu" in findings["mode"].todo
    assert all(found.well or found.todo for found in findings.values())
    healthy = checkup.check_up(lambda: [CameraIdentity("usb:001,004", model="Body")], tmp_path, usb=list)
    assert all(found.well for found in healthy)


def test_no_camera_at_all_is_a_finding_with_advice(tmp_path: Path) -> None:
    findings = {found.name: found for found in checkup.check_up(find_nothing, None, usb=list)}
    assert not findings["cameras"].well
    assert "cable" in findings["cameras"].todo


# What was learned


def test_gaps_are_kept_by_model_and_rubbish_is_as_good_as_nothing(tmp_path: Path) -> None:
    assert load_gaps(tmp_path) == {}
    save_gap(tmp_path, "Body A", 0.41)
    save_gap(tmp_path, "Body B", 99.0)
    assert load_gaps(tmp_path) == {"Body A": 0.41, "Body B": 5.0}
    for rubbish in ("", "[]", '{"shortest_gap_s": 7}', '{"shortest_gap_s": {"A": "x"}}'):
        (tmp_path / FILE_NAME).write_text(rubbish)
        assert load_gaps(tmp_path) == {}
    assert load_gaps(None) == {}
    save_gap(None, "Body A", 1.0)
    assert [path.name for path in tmp_path.iterdir()] == [FILE_NAME]


# Families


@pytest.mark.parametrize(
    ("manufacturer", "family"),
    [
        ("Nikon Corporation", Family.NIKON),
        ("Canon Inc.", Family.CANON),
        ("Sony Corporation", Family.SONY),
        ("FUJIFILM", Family.FUJI),
        ("Panasonic", Family.PANASONIC),
        ("OLYMPUS", Family.OLYMPUS),
        ("OM Digital Solutions", Family.OLYMPUS),
        ("SIGMA", Family.SIGMA),
        ("Tethercap Works (simulated)", Family.STANDARD),
        ("", Family.STANDARD),
    ],
)
def test_a_family_is_told_by_what_the_body_says(manufacturer: str, family: Family) -> None:
    assert family_of(manufacturer) is family


def test_what_would_crash_the_driver_is_never_set() -> None:
    panasonic = TRAITS[Family.PANASONIC]
    assert {"capturetarget", "manualfocusdrive"} <= panasonic.never_set
    assert not {name for name, _ in panasonic.card_target} & panasonic.never_set
    assert TRAITS[Family.SIGMA].refused
    assert set(TRAITS) == set(Family)


# The search on the card


class Card:
    """A card behind the driver, written down here."""

    def __init__(self, **files: float | None) -> None:
        self.files = {name.replace("_", "."): taken for name, taken in files.items()}

    def list_folders(self, folder: str) -> tuple[str, ...]:
        return {"/": ("store",), "/store/DCIM": ("100AAAA", "101AAAA")}.get(folder, ())

    def list_files(self, folder: str) -> tuple[str, ...]:
        return tuple(self.files) if folder == "/store/DCIM/101AAAA" else ()

    def describe_file(self, folder: str, name: str) -> CameraFile:
        return CameraFile(folder, name, 1000, taken_at_s=self.files[name])


FOLDER = "/store/DCIM/101AAAA"


def searched(card: Any, memory: CardMemory) -> list[str]:
    return [file.name for file in find_missing(card, memory)]


def memory_of(name: str, taken_at_s: float | None, awaited_since_s: float | None = 1000.0) -> CardMemory:
    memory = CardMemory()
    memory.note(CameraFile(FOLDER, name, 1000, taken_at_s=taken_at_s))
    memory.awaited_since_s = awaited_since_s
    return memory


def test_nothing_is_searched_when_nothing_is_missing() -> None:
    assert searched(Card(A0001_DNG=990.0), memory_of("A0000.DNG", 980.0, None)) == []


def test_what_is_younger_than_the_last_picture_is_found_and_older_is_not() -> None:
    card = Card(A0001_DNG=900.0, A0002_DNG=980.0, A0003_DNG=999.0)
    assert searched(card, memory_of("A0002.DNG", 980.0)) == ["A0003.DNG"]


def test_a_wrong_camera_clock_does_not_matter_once_a_picture_is_known() -> None:
    assert searched(Card(A0002_DNG=10.0, A0003_DNG=20.0), memory_of("A0002.DNG", 10.0)) == ["A0003.DNG"]


def test_numbers_that_begin_again_are_found() -> None:
    card = Card(A9998_DNG=900.0, A9999_DNG=980.0, A0001_DNG=999.0)
    assert searched(card, memory_of("A9999.DNG", 980.0)) == ["A0001.DNG"]


def test_names_decide_where_the_camera_gives_no_time() -> None:
    card = Card(A0007_DNG=None, A0008_DNG=None, A0009_DNG=None)
    assert searched(card, memory_of("A0008.DNG", None)) == ["A0009.DNG"]


def test_the_first_picture_of_all_is_told_by_the_clock() -> None:
    memory = CardMemory(awaited_since_s=1000.0)
    assert searched(Card(A0001_DNG=100.0, A0002_DNG=1001.0), memory) == ["A0002.DNG"]
    assert searched(Card(A0001_DNG=100.0), memory) == []


def test_of_several_young_pictures_nothing_is_known_of_only_the_newest_shot_is_ours() -> None:
    memory = CardMemory(awaited_since_s=1000.0)
    card = Card(A0001_DNG=950.0, A0002_DNG=980.0, A0003_DNG=1001.0, A0003_JPG=1001.0)
    assert searched(card, memory) == ["A0003.DNG", "A0003.JPG"]


@pytest.mark.parametrize("known", [CardMemory(awaited_since_s=1000.0), memory_of("A0002.DNG", 980.0)])
def test_a_card_that_was_changed_meanwhile_holds_nothing_of_ours(known: CardMemory) -> None:
    class OtherCard(Card):
        def list_files(self, folder: str) -> tuple[str, ...]:
            raise CameraRefusedError("There is no such folder.")

    assert searched(OtherCard(), known) == []


def test_a_link_that_breaks_while_the_card_is_looked_at_is_told() -> None:
    class Gone(Card):
        def list_files(self, folder: str) -> tuple[str, ...]:
            raise CameraGoneError("The cable came out.")

    with pytest.raises(CameraGoneError):
        searched(Gone(), memory_of("A0002.DNG", 980.0))


def test_the_lock_folder_belongs_to_the_user(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    from tethercap.camera.locks import lock_folder

    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    folder = lock_folder()
    assert folder.parent == tmp_path
    assert folder.stat().st_mode & 0o077 == 0
    assert str(os.getuid()) in folder.name
