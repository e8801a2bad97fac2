"""Drives the real driver in a process of its own: JSON commands on stdin, JSON results on stdout.

A driver that hangs or crashes takes this process with it and not the tests.  Usage:
``driver_child.py PORT`` with a JSON list of ``[command, argument...]`` on stdin.
"""

from __future__ import annotations

import hashlib
import json
import os
import socket
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HOME = tempfile.mkdtemp(prefix="driver-home-")
SETTINGS = "ptp2=capturetarget={}\nptp2=autofocus=off\nlibgphoto=cached-images=20\nptp2=cachetime=0\n"


def write_settings(target: str) -> None:
    """Give the driver a private settings file where old and new releases look for it."""
    os.environ.update(LC_ALL="C", HOME=HOME, XDG_CONFIG_HOME=HOME)
    os.environ.pop("LANGUAGE", None)
    for folder in (".gphoto", "gphoto"):
        path = Path(HOME) / folder
        path.mkdir()
        (path / "settings").write_text(SETTINGS.format(target))


class Driver:
    def __init__(self, port: int) -> None:
        import gphoto2 as gp

        self.gp = gp
        self.texts: list[str] = []
        self.context = gp.Context()
        self._callback = self.context.set_error_func(lambda _c, text, _d: self.texts.append(bytes(text).decode()), None)
        self.path = f"ptpip:127.0.0.1:{port}:{port}"
        self.camera = gp.Camera()

    def init(self) -> bool:
        gp = self.gp
        self.camera = gp.Camera()
        ports = gp.PortInfoList()
        ports.load()
        self.camera.set_port_info(ports[ports.lookup_path(self.path)])
        models = gp.CameraAbilitiesList()
        models.load()
        self.camera.set_abilities(models[models.lookup_model("PTP/IP Camera")])
        self.camera.init(self.context)
        return True

    def exit(self) -> bool:
        self.camera.exit(self.context)
        return True

    def names(self) -> list[str]:
        listed = self.camera.list_config(self.context)
        return [str(listed.get_name(n)) for n in range(listed.count())]

    def get(self, name: str) -> Any:
        return self.camera.get_single_config(name, self.context).get_value()

    def choices(self, name: str) -> list[str]:
        return list(self.camera.get_single_config(name, self.context).get_choices())

    def readonly(self, name: str) -> bool:
        return bool(self.camera.get_single_config(name, self.context).get_readonly())

    def set(self, name: str, content: Any) -> Any:
        widget = self.camera.get_single_config(name, self.context)
        widget.set_value(content)
        self.camera.set_single_config(name, widget, self.context)
        return self.get(name)

    def push(self, name: str, content: Any) -> bool:
        """Set a widget that acts, without reading it back."""
        widget = self.camera.get_single_config(name, self.context)
        widget.set_value(content)
        self.camera.set_single_config(name, widget, self.context)
        return True

    def push_any(self, name: str, contents: list[str]) -> bool:
        """Push the first of some choices that this release of the driver knows."""
        known = self.choices(name)
        return self.push(name, next(content for content in contents if content in known))

    def preview(self) -> dict[str, Any]:
        file = self.gp.CameraFile()
        self.gp.check_result(self.gp.gp_camera_capture_preview(self.camera, file, self.context))
        data = bytes(file.get_data_and_size())
        return {"bytes": len(data), "jpeg": data[:2] == b"\xff\xd8" and data[-2:] == b"\xff\xd9"}

    def trigger(self) -> bool:
        self.camera.trigger_capture(self.context)
        return True

    def capture(self) -> list[str]:
        path = self.camera.capture(self.gp.GP_CAPTURE_IMAGE, self.context)
        return [path.folder, path.name]

    def events(self, seconds: float, files: int = 99, preview: bool = False) -> list[Any]:
        """Return events until so many files came and 0.3 s were quiet, or the time is over."""
        gp, found, quiet_since = self.gp, [], time.monotonic()
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            kind, data = self.camera.wait_for_event(10, self.context)
            if kind == gp.GP_EVENT_FILE_ADDED:
                found.append(["file", data.folder, data.name])
            elif kind == gp.GP_EVENT_FOLDER_ADDED:
                found.append(["folder", data.folder, data.name])
            elif kind == gp.GP_EVENT_CAPTURE_COMPLETE:
                found.append(["complete"])
            elif kind == gp.GP_EVENT_UNKNOWN:
                found.append(["other", str(data)])
            if kind != gp.GP_EVENT_TIMEOUT:
                quiet_since = time.monotonic()
            done = sum(event[0] == "file" for event in found) >= files
            if done and time.monotonic() - quiet_since > 0.3:
                break
            if preview:
                self.preview_quietly()
        return found

    def preview_soon(self) -> dict[str, Any]:
        """Try until a preview is whole, for 3 s at most."""
        end = time.monotonic() + 3
        while True:
            try:
                result = self.preview()
            except self.gp.GPhoto2Error:
                result = {"jpeg": False}
            if result["jpeg"] or time.monotonic() > end:
                return result

    def preview_quietly(self) -> None:
        try:
            self.preview()
        except self.gp.GPhoto2Error:
            time.sleep(0.005)

    def info(self, folder: str, name: str) -> dict[str, Any]:
        info = self.camera.file_get_info(folder, name, self.context)
        return {"size": info.file.size, "type": info.file.type, "width": info.file.width, "height": info.file.height}

    def read(self, folder: str, name: str) -> dict[str, Any]:
        """Read a file in chunks of 1 MiB with a preview after each."""
        size = self.info(folder, name)["size"]
        digest, offset, previews = hashlib.sha256(), 0, 0
        while offset < size:
            buffer = bytearray(min(1 << 20, size - offset))
            got = self.camera.file_read(folder, name, self.gp.GP_FILE_TYPE_NORMAL, offset, buffer, self.context)
            if not got:
                break
            digest.update(buffer[:got])
            offset += got
            self.preview_quietly()
            previews += 1
        return {"bytes": offset, "sha256": digest.hexdigest(), "previews": previews}

    def fetch(self, folder: str, name: str, save: str = "") -> dict[str, Any]:
        file = self.camera.file_get(folder, name, self.gp.GP_FILE_TYPE_NORMAL)
        data = bytes(file.get_data_and_size())
        if save:
            Path(save).write_bytes(data)
        return {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest(), "head": data[:4].hex()}

    def sleep(self, seconds: float) -> bool:
        time.sleep(seconds)
        return True

    def control(self, cmd: str, **options: Any) -> Any:
        """Send a command to the camera's control channel, as someone at the camera would act."""
        port = int(os.environ["CONTROL_PORT"])
        with socket.create_connection(("127.0.0.1", port), timeout=10) as sock:
            sock.sendall(json.dumps({"cmd": cmd, **options}).encode() + b"\n")
            with sock.makefile("rb") as answers:
                return json.loads(answers.readline())

    def free_kb(self) -> int:
        return int(self.camera.get_storageinfo(self.context)[0].freekbytes)


def main() -> None:
    commands = json.load(sys.stdin)
    write_settings(os.environ.get("DRIVER_TARGET", "card"))
    driver = Driver(int(sys.argv[1]))
    results: list[Any] = []
    for name, *arguments in commands:
        # "$-1" stands for the path of the newest file seen so far.
        files = [event[1:] for result in results if isinstance(result, list) for event in result if event[0] == "file"]
        if arguments and isinstance(arguments[0], str) and arguments[0].startswith("$"):
            arguments = [*files[int(arguments[0][1:])], *arguments[1:]]
        driver.texts.clear()
        try:
            options = arguments.pop() if arguments and isinstance(arguments[-1], dict) else {}
            results.append(getattr(driver, name)(*arguments, **options))
        except driver.gp.GPhoto2Error as error:
            results.append({"error": error.code, "text": list(driver.texts)})
    sys.stdout.write(json.dumps(results))


if __name__ == "__main__":
    main()
