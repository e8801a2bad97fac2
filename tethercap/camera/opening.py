"""How the camera process gets from a wish to an open, prepared camera."""

import contextlib
import time
from dataclasses import dataclass, field

from tethercap.camera.base import CameraAbilities, CameraIdentity
from tethercap.camera.families import TRAITS, Family, FamilyTraits, family_of
from tethercap.camera.gphoto import GPhotoCamera, Timer, find_ports
from tethercap.camera.holders import check_access, explain_claim
from tethercap.camera.locks import CameraLock
from tethercap.camera.protocol import OpenWish
from tethercap.errors import (
    CameraBusyError,
    CameraError,
    CameraGoneError,
    CameraInUseError,
    CameraSilentError,
    NoCameraError,
    NotSupportedError,
)

EXPOSURE_NAMES = frozenset({"iso", "shutterspeed", "shutterspeed2", "aperture", "f-number"})
"""A body that shows one of these is in the right USB mode; one that shows none is asked what it can do."""
CLAIM_TRIES = 3
CLAIM_WAIT_S = 1.0
"""A desktop's volume monitor lets go within a second or two when it is asked to."""


@dataclass(slots=True)
class OpenCamera:
    """A camera that is open, and what was found out about it."""

    camera: GPhotoCamera
    identity: CameraIdentity
    family: Family
    names: frozenset[str]
    abilities: CameraAbilities = field(default_factory=lambda: CameraAbilities(False, True, True))
    locks: list[CameraLock] = field(default_factory=list)
    release: tuple[tuple[str, str], ...] = ()
    """Settings to write in turn that release the shutter; empty where the driver's trigger does."""

    @property
    def traits(self) -> FamilyTraits:
        """How to treat it."""
        return TRAITS[self.family]

    def close(self) -> None:
        """End live view and the session, let go of the locks."""
        with contextlib.suppress(CameraError):
            self.end_live_view()
        self.camera.leave()
        for lock in self.locks:
            lock.release()
        self.locks.clear()

    def begin_live_view(self) -> None:
        """Switch live view on where asking for a picture is not enough.

        Raises
        ------
        CameraError
        """
        if self.traits.switch_on_first and self._live_switch is not None:
            self.camera.write_setting(self._live_switch, 1)

    def end_live_view(self) -> None:
        """Put the mirror down and the sensor to rest.

        Raises
        ------
        CameraError
        """
        if self._live_switch is not None:
            self.camera.write_setting(self._live_switch, 0)

    @property
    def _live_switch(self) -> str | None:
        return next((name for name in ("viewfinder", "eosviewfinder") if name in self.names), None)


def open_wished(wish: OpenWish, timer: Timer, owner_pid: int) -> OpenCamera:
    """Open the camera that is wished for, and prepare it.

    Parameters
    ----------
    wish : OpenWish
    timer : Timer
        Guards each driver call.
    owner_pid : int
        Process that is named to whoever wants the camera too.

    Raises
    ------
    CameraError
    """
    ports = [wish.port] if wish.port is not None else _candidate_ports(wish.serial)
    strangers: list[str] = []
    for port in ports:
        opened = _open_port(port, timer, owner_pid)
        if wish.serial is None or opened.identity.serial == wish.serial:
            try:
                _claim_serial(opened, owner_pid)
                _prepare(opened)
            except BaseException:
                opened.close()
                raise
            return opened
        strangers.append(f"{opened.identity.model} {opened.identity.serial} at {port}")
        opened.close()
    raise NoCameraError(
        f"No camera with serial number {wish.serial} was found; there is {', '.join(strangers) or 'none at all'}.",
        todo="Plug it in and switch it on, or choose another.",
    )


def _candidate_ports(serial: str | None) -> list[str]:
    found = find_ports()
    if not found:
        raise NoCameraError(
            "No camera was found.",
            todo="Plug it in, switch it on, set its USB menu to remote control; `tethercap doctor` looks further.",
        )
    if len(found) > 1 and serial is None:
        listed = ", ".join(f"{model} at {port}" for port, model in found)
        raise NoCameraError(
            f"There are {len(found)} cameras: {listed}.", todo="Say which one: by port or by serial number."
        )
    for _, model in found:
        _refuse_by_name(model)
    return [port for port, _ in found]


def _refuse_by_name(model: str) -> None:
    traits = TRAITS[family_of("", model)]
    if traits.refused:
        raise NotSupportedError(f"{model} cannot be used: {traits.refused}", todo=" ".join(traits.hints))


def _open_port(port: str, timer: Timer, owner_pid: int) -> OpenCamera:
    lock = CameraLock(f"port {port}", owner_pid)
    try:
        check_access(port)
        camera = _open_patiently(port, timer)
        return _get_to_know(camera, port, lock)
    except BaseException:
        lock.release()
        raise


def _open_patiently(port: str, timer: Timer) -> GPhotoCamera:
    for attempt in range(CLAIM_TRIES):
        try:
            return GPhotoCamera(port, timer)
        except CameraInUseError as error:
            if attempt == CLAIM_TRIES - 1:
                raise explain_claim(error, port) from None
        except (CameraSilentError, CameraBusyError):
            # A sleeping body misses the first call and answers the second.
            if attempt:
                raise
        time.sleep(CLAIM_WAIT_S)
    raise AssertionError("unreachable")


def _get_to_know(camera: GPhotoCamera, port: str, lock: CameraLock) -> OpenCamera:
    names = frozenset(camera.setting_names())

    def said(name: str) -> str:
        if name not in names:
            return ""
        try:
            return camera.read_setting(name).current_text.strip()
        except (CameraGoneError, CameraSilentError):
            raise
        except CameraError:
            return ""

    make, model = said("manufacturer"), said("cameramodel") or camera.driver_model()
    identity = CameraIdentity(port, make, model, said("serialnumber"), said("deviceversion"))
    opened = OpenCamera(camera, identity, family_of(make, model), names, locks=[lock])
    if opened.traits.refused:
        opened.close()
        raise NotSupportedError(f"{model} cannot be used: {opened.traits.refused}", todo=" ".join(opened.traits.hints))
    return opened


def _claim_serial(opened: OpenCamera, owner_pid: int) -> None:
    # The same body over another port is still the same body. Simulated ones on this computer share a number.
    if opened.identity.serial and not opened.identity.port.startswith("ptpip:127."):
        opened.locks.append(CameraLock(f"serial {opened.identity.serial}", owner_pid))


def _prepare(opened: OpenCamera) -> None:
    notes: list[str] = []
    _choose_card(opened, notes)
    live_view = _probe_live_view(opened, notes)
    opened.release = _find_release(opened)
    trigger = opened.camera.claims_capture() and (bool(EXPOSURE_NAMES & opened.names) or opened.camera.offers_capture())
    if not trigger:
        hints = (
            " ".join(opened.traits.hints) or "Set the camera's USB menu to remote control, not to mass storage or MTP."
        )
        notes.append(f"The camera offers no remote release in this USB mode. {hints}")
    opened.abilities = CameraAbilities(live_view, trigger, not opened.traits.whole_files, tuple(notes))


def _find_release(opened: OpenCamera) -> tuple[tuple[str, str], ...]:
    steps = []
    for name, spellings in opened.traits.release:
        choices = opened.camera.read_setting(name).choices if name in opened.names else ()
        spelling = next((text for text in spellings if text in choices), None)
        if spelling is None:
            return ()
        steps.append((name, spelling))
    return tuple(steps)


def _choose_card(opened: OpenCamera, notes: list[str]) -> None:
    for name, wanted in opened.traits.card_target:
        if name not in opened.names or name in opened.traits.never_set:
            continue
        try:
            opened.camera.write_setting(name, wanted)
            got = opened.camera.read_setting(name).current_text
            if got == wanted:
                return
            notes.append(f"Pictures go to {got or 'an unknown place'}, not to the card: is there a card in the camera?")
        except (CameraGoneError, CameraSilentError):
            raise
        except CameraError as error:
            notes.append(f"Where pictures go could not be set to the card. {error.what}")


def _probe_live_view(opened: OpenCamera, notes: list[str]) -> bool:
    # The driver's table does not say it for bodies known by class or reached over the network; one picture does.
    if not opened.camera.claims_live_view():
        notes.append("The driver knows no live view for this camera: the film cannot be watched.")
        return False
    try:
        opened.camera.preview(lambda _jpeg: None)
    except NotSupportedError:
        notes.append("This camera sends no live view in this mode: the film cannot be watched, shots are taken by key.")
        return False
    except (CameraGoneError, CameraSilentError):
        raise
    except CameraError as error:
        notes.append(f"Live view does not work now. {error}")
        return True
    with contextlib.suppress(CameraError):
        opened.end_live_view()
    return True
