"""``python -m mock_camera``: start a simulated camera and stay until told to go.

One JSON line on stdout says where it listens::

    {"ptpip_port": 40123, "control_port": 40124, "pid": 4711, "body": "0a"}
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace

from mock_camera import faults
from mock_camera.bodies import ALL_BODIES
from mock_camera.body import FAST, Body, Timing
from mock_camera.card import Card
from mock_camera.control import ControlServer, Desk
from mock_camera.lens import RigLike
from mock_camera.responder import Responder

BODY_HELP = (
    "dialect: standard PTP, the version 1.1 stream, storage (a card reader that cannot be fired), "
    "the number of a vendor extension, or the OM type; 0a unless given"
)
RigMaker = Callable[[argparse.Namespace], RigLike]


def size(text: str) -> tuple[int, int]:
    """Return (width, height) from ``WxH``.

    Raises
    ------
    ValueError
        If the text is not two positive numbers.
    """
    width, _, height = text.lower().partition("x")
    numbers = int(width), int(height)
    if min(numbers) < 64 or any(n % 2 for n in numbers):
        raise ValueError("a sensor has an even number of pixels each way, 64 or more")
    return numbers


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the command line."""
    parser = argparse.ArgumentParser(
        "mock_camera",
        description="A simulated camera on 127.0.0.1, looking at film.",
        epilog=faults.__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add = parser.add_argument
    add("--body", choices=list(ALL_BODIES), default="0a", help=BODY_HELP)
    add("--port", type=int, default=0, help="PTP/IP port; 0 takes any")
    add("--control-port", type=int, default=0, help="port of the control channel; 0 takes any")
    add("--serial", default="SIM0001", help="serial number to report")
    add("--film-kind", choices=["colour-negative", "bw-negative", "slide"], default="colour-negative")
    add("--film-format", default="135-36x24", help="id of the film format")
    add("--strips", type=int, default=1)
    add("--frames-per-strip", type=int, default=6)
    add("--first-label", type=int, default=1, help="number of the first frame")
    add("--seed", type=int, default=1)
    add("--hand", choices=["none", "bell", "timed"], default="none", help="who moves the film")
    add("--sensor", type=size, default=(6000, 4000), metavar="WxH", help="pixels of the raw file")
    add("--fast", action="store_true", help="shorten the waits of hand and camera")
    add("--fault", action="append", default=[], metavar="SPEC", help="something that goes wrong: name:key=value,...")
    add("--first-number", type=int, default=1, help="number in the first file name, 1 to 9999")
    add("--card-mb", type=int, default=64_000, help="size of the memory card in megabytes")
    add("--transfer-mb-s", type=float, metavar="RATE", help="megabytes a second; 35, or without limit when --fast")
    add("--trace", action="store_true", help="write every operation to stderr")
    add("--until-stdin-closes", action="store_true", help="end when stdin is closed")
    add("--parent-pid-watch", action="store_true", help="end when the parent process is gone")
    return parser


def make_copy_rig(args: argparse.Namespace) -> RigLike:
    """Return the rig with film that the command line asks for."""
    from mock_camera.rig import CopyRig, RigSettings

    settings = RigSettings(
        film_kind=args.film_kind,
        film_format=args.film_format,
        strips=args.strips,
        frames_per_strip=args.frames_per_strip,
        first_label=args.first_label,
        seed=args.seed,
        hand=args.hand,
        fast=args.fast,
        sensor_width_px=args.sensor[0],
        sensor_height_px=args.sensor[1],
        serial=args.serial,
    )
    return CopyRig(settings, time.monotonic)


def _watch_stdin(done: threading.Event) -> None:
    try:
        while os.read(sys.stdin.fileno(), 4096):
            pass
    except OSError:
        pass
    done.set()


def _wait(args: argparse.Namespace, done: threading.Event, parent: int) -> None:
    if args.until_stdin_closes:
        threading.Thread(target=_watch_stdin, args=(done,), name="stdin", daemon=True).start()
    while not done.wait(0.25):
        if args.parent_pid_watch and os.getppid() != parent:
            return


def _timing(args: argparse.Namespace) -> Timing:
    timing = FAST if args.fast else Timing()
    if args.transfer_mb_s:
        timing = replace(timing, transfer_bytes_s=args.transfer_mb_s * 1e6)
    return timing


def _serve(args: argparse.Namespace, body: Body, stack: contextlib.ExitStack, done: threading.Event) -> None:
    """Open both ports and say so in the one line on stdout."""
    dialect = ALL_BODIES[args.body](body, args.serial)
    responder = Responder(dialect, args.port, args.trace)
    stack.callback(responder.close)
    control = ControlServer(Desk(dialect, responder, done.set), args.control_port)
    stack.callback(control.close)
    ready = {"ptpip_port": responder.port, "control_port": control.port, "pid": os.getpid(), "body": args.body}
    sys.stdout.write(json.dumps(ready) + "\n")
    sys.stdout.flush()


def run(argv: Sequence[str] | None = None, make_rig: RigMaker = make_copy_rig) -> int:
    """Run the camera until it is told to go; return the exit code.

    Parameters
    ----------
    argv : sequence of str, optional
        The command line without the program's name.
    make_rig : callable
        Builds what stands in front of the lens; a ValueError says what it cannot build.
    """
    parent, done = os.getppid(), threading.Event()
    parser = build_parser()
    args = parser.parse_args(argv)
    if not 1 <= args.first_number <= 9999:
        parser.error("--first-number lies between 1 and 9999")
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: done.set())
    try:
        box = faults.FaultBox([faults.parse(spec) for spec in args.fault])
        rig = make_rig(args)
    except ValueError as error:
        parser.error(str(error))
    with contextlib.ExitStack() as stack:
        card = Card(args.card_mb * 1_000_000, args.first_number)
        body = Body(rig, card, box, _timing(args))
        stack.callback(body.close)
        body.warm_up()
        try:
            _serve(args, body, stack, done)
        except OSError as error:
            sys.stderr.write(f"mock_camera: cannot listen on 127.0.0.1: {error}\n")
            return 1
        _wait(args, done, parent)
    return 0


if __name__ == "__main__":
    sys.exit(run())
