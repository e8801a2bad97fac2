"""Every fault, on the wire or through the real driver: what the driver makes of it."""

from __future__ import annotations

import time
from typing import Any

import pytest

from mock_camera import faults
from mock_camera.codes import EventCode, Operation, Response
from mock_camera.faults import FaultBox, FaultError
from mock_camera.fields import Reader

DRIVER_TIMEOUT_S = 2.5


def test_a_spec_is_parsed() -> None:
    fault = faults.parse("refuse:op=0x9207,code=0x2019,times=2,after=1")
    assert (fault.name, fault.options, fault.times, fault.after) == ("refuse", {"op": 0x9207, "code": 0x2019}, 2, 1)
    assert faults.parse("store-full:when=during").options == {"when": "during"}
    assert faults.parse("delay:op=*,seconds=0.5").options == {"op": "*", "seconds": 0.5}


@pytest.mark.parametrize(
    "spec", ["", "boom", "refuse:op", "refuse:colour=1", "refuse:times=-1", "refuse:times=x", "delay:seconds=soon"]
)
def test_nonsense_is_refused_in_words(spec: str) -> None:
    with pytest.raises(FaultError):
        faults.parse(spec)


def test_every_fault_is_explained() -> None:
    explained = {line.split()[0] for line in (faults.__doc__ or "").splitlines() if line and line[0].isalpha()}
    assert explained >= faults.NAMES


def test_a_card_taken_out_and_put_back(start_camera: Any) -> None:
    camera = start_camera("--body", "0a")
    results = camera.drive(
        ["init"],
        *SHOT,
        ["control", "fault", {"name": "no-card"}],
        ["read", "$-1"],
        ["trigger"],
        ["control", "clear-faults"],
        ["read", "$-1"],
        ["exit"],
    )
    assert results[4]["error"] < 0
    assert results[5]["error"] == -1
    assert results[7]["bytes"] > 600_000


def test_a_fault_lets_pass_strikes_and_is_spent() -> None:
    box = FaultBox([faults.parse("refuse:op=1,times=2,after=1")])
    assert box.strike("refuse", op=2) is None
    assert [box.strike("refuse", op=1) is not None for _ in range(5)] == [False, True, True, False, False]
    box.add(faults.parse("refuse"))
    assert box.strike("refuse", op=99) is not None
    box.clear()
    assert box.strike("refuse", op=99) is None


def test_refused_operation_on_the_wire(start_camera: Any, connect: Any) -> None:
    camera = start_camera("--body", "standard", "--fault", "refuse:op=0x1004,code=0x200F,times=1")
    wire = connect(camera).open()
    assert wire.ask(Operation.GET_STORAGE_IDS)[0] == Response.ACCESS_DENIED
    assert wire.ask(Operation.GET_STORAGE_IDS)[0] == Response.OK


def test_delay_drop_of_the_event_connection_and_of_the_command_connection(start_camera: Any, connect: Any) -> None:
    camera = start_camera("--body", "standard")
    wire = connect(camera).open()
    assert camera.control("fault", name="delay", op=0x1004, seconds=0.3, times=1)["ok"]
    started_s = time.monotonic()
    wire.ask(Operation.GET_STORAGE_IDS)
    assert time.monotonic() - started_s >= 0.3
    assert camera.control("fault", spec="drop-event:op=0x1004,times=1")["ok"]
    wire.ask(Operation.GET_STORAGE_IDS)
    assert wire.event.recv(1) == b""
    assert wire.ask(Operation.GET_STORAGE_IDS)[0] == Response.OK
    assert camera.control("fault", spec="drop-command:op=0x1004,times=1")["ok"]
    with pytest.raises((EOFError, ConnectionError)):
        wire.ask(Operation.GET_STORAGE_IDS)


def test_a_full_store_during_the_shot_is_an_event(start_camera: Any, connect: Any) -> None:
    camera = start_camera("--body", "standard", "--fault", "store-full:when=during,times=1")
    wire = connect(camera).open()
    assert wire.ask(Operation.INITIATE_CAPTURE, 0, 0)[0] == Response.OK
    event = wire.next_event()
    assert (event.code, event.params, event.transaction) == (EventCode.STORE_FULL, (0x00010001,), wire.transaction)
    assert Reader(wire.ask(Operation.GET_OBJECT_HANDLES, 0xFFFFFFFF, 0x3811, 0)[1]).array32() == []
    assert camera.control("shots")["shots"] == []


def test_a_release_too_soon_after_a_shot_is_busy(start_camera: Any, connect: Any) -> None:
    camera = start_camera("--body", "standard", "--fault", "busy-gap:seconds=60")
    wire = connect(camera).open()
    assert wire.ask(Operation.INITIATE_CAPTURE, 0, 0)[0] == Response.OK
    while wire.next_event().code != EventCode.CAPTURE_COMPLETE:
        pass
    assert wire.ask(Operation.INITIATE_CAPTURE, 0, 0)[0] == Response.DEVICE_BUSY
    camera.control("clear-faults")
    assert wire.ask(Operation.INITIATE_CAPTURE, 0, 0)[0] == Response.OK


def test_a_silent_operation_costs_the_driver_its_own_timeout_only(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--fault", "silence:op=0x9203,after=1,times=1")
    results = camera.drive(["init"], ["preview"], ["preview"], ["exit"], ["init"], ["preview"], ["exit"])
    assert results[1]["error"] in (-7, -10)
    assert results[5]["jpeg"] is True


def test_a_late_answer_is_followed_by_good_ones(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--fault", "delay:op=0x1015,seconds=3,times=1")
    results = camera.drive(["init"], ["preview"], ["preview"], ["preview"], ["exit"])
    assert results[3]["jpeg"] is True


SHOT: list[list[Any]] = [["trigger"], ["events", 6, 1]]


@pytest.mark.parametrize("where", ["drop-command", "drop-event"])
def test_a_link_dropped_in_the_pull_leaves_the_file_on_the_card(start_camera: Any, where: str) -> None:
    camera = start_camera("--body", "0a", "--fault", f"{where}:op=0x101B,times=1")
    results = camera.drive(["init"], *SHOT, ["read", "$-1"], ["exit"], ["init"], ["read", "$-1"], ["exit"])
    again = results[6]
    assert again["bytes"] > 600_000
    if where == "drop-command":
        assert results[3]["error"] < 0
    else:
        assert results[3].get("sha256", again["sha256"]) == again["sha256"]


def test_a_truncated_transfer_is_an_error_and_the_next_one_is_whole(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--fault", "truncate:op=0x101B,bytes=1000,times=1")
    results = camera.drive(["init"], *SHOT, ["read", "$-1"], ["read", "$-1"], ["exit"])
    assert results[3]["error"] < 0
    assert results[4]["bytes"] > 600_000


@pytest.mark.parametrize("by", [-1000, 1000])
def test_a_wrong_size_is_what_the_driver_reports(start_camera: Any, by: int) -> None:
    camera = start_camera("--body", "0a", "--fault", f"wrong-size:by={by},times=1")
    results = camera.drive(["init"], *SHOT, ["info", "$-1"], *SHOT, ["info", "$-1"], ["exit"])
    right = results[6]["size"]
    # The two files differ by a little in their compressed parts, never by the lie.
    assert abs(results[3]["size"] - right - by) < 200


@pytest.mark.parametrize(
    ("body", "prop", "value", "widget"),
    [
        ("standard", 0x5007, 330, "f-number"),
        ("0a", 0x5007, 330, "f-number"),
        ("0b", 0xD101, 0x26, "aperture"),
        ("0e", 0x5007, 330, "f-number"),
        ("11", 0x5007, 330, "f-number"),
        ("1c", 0x02000040, 33, "f-number"),
        ("om", 0xD002, 33, "aperture"),
    ],
)
def test_a_value_outside_its_list_is_no_choice(
    start_camera: Any, body: str, prop: int, value: int, widget: str
) -> None:
    """An adapted lens reports an aperture that the list lacks; some families then show no value at all."""
    camera = start_camera("--body", body, "--fault", f"outside-list:prop={prop},value={value}")
    results = camera.drive(["init"], ["get", widget], ["choices", widget], ["get", "iso"], ["exit"])
    shown, choices, iso = results[1:4]
    assert choices
    # The 0b widget adds the stranger to its choices and says that it is one.
    assert shown is None or shown not in choices or shown.startswith("Unknown value")
    assert iso == "100"
    if body in ("standard", "0a", "0e", "11"):
        assert shown is None


def test_store_full_at_once(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--fault", "store-full")
    results = camera.drive(["init"], ["trigger"], ["free_kb"], ["control", "clear-faults"], *SHOT, ["exit"])
    # This way through the driver loses the reason; the free space tells it.
    assert results[1]["error"] == -1
    assert results[2] == 0
    assert any(event[0] == "file" for event in results[5])


@pytest.mark.parametrize(
    ("bit", "words"), [(17, "Temperature too high"), (8, "Battery exhausted"), (20, "Card unformatted")]
)
def test_refused_live_view_gives_its_reason(start_camera: Any, bit: int, words: str) -> None:
    camera = start_camera("--body", "0a", "--fault", f"no-live-view:bits={1 << bit}")
    results = camera.drive(
        ["init"], ["preview"], ["get", "liveviewprohibit"], ["control", "clear-faults"], ["preview"], ["exit"]
    )
    assert results[1] == {"error": -1, "text": [f"Liveview cannot start: {words}"]}
    assert words.lower()[:8] in results[2].lower()
    assert results[4]["jpeg"] is True


@pytest.mark.parametrize("body", ["stream", "0a", "0b", "0e", "11", "1c", "om"])
def test_bad_live_view_of_every_family_ends_and_recovers(start_camera: Any, body: str) -> None:
    camera = start_camera("--body", body)
    names = ["no-live-view", "live-view-empty", "live-view-busy", "live-view-corrupt"]
    commands: list[list[Any]] = [["init"]]
    for name in names:
        commands += [["control", "fault", {"name": name}], ["preview"], ["control", "clear-faults"], ["preview_soon"]]
        if name == "no-live-view":
            # It concerns the start of live view, so the next one begins anew.
            commands += [["exit"], ["init"]]
    results = camera.drive(*commands, ["exit"])
    broken = [results[2], *results[8:-1:4]]
    good = [results[4], *results[10:-1:4]]
    for name, result in zip(names, broken, strict=True):
        assert result.get("error", 0) < 0 or result["jpeg"] is False, name
    assert [result["jpeg"] for result in good] == [True] * 4


def test_a_late_event_comes_late_and_a_missing_one_never(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--fault", "object-added-late:seconds=4,times=1")
    results = camera.drive(["init"], ["trigger"], ["events", 3.0], ["events", 8, 1], ["exit"])
    assert results[2] == [["complete"]]
    assert [event[2] for event in results[3] if event[0] == "file"] == ["TCAP0001.DNG"]
    camera = start_camera("--body", "0a", "--fault", "object-added-missing:times=1")
    results = camera.drive(["init"], ["trigger"], ["events", 2.0], *SHOT, ["exit"])
    assert results[2] == [["complete"]]
    assert [event[2] for event in results[4] if event[0] == "file"] == ["TCAP0002.DNG"]


def test_the_same_event_twice_names_the_same_file_twice(start_camera: Any) -> None:
    camera = start_camera("--body", "standard", "--fault", "object-added-twice:times=1")
    results = camera.drive(["init"], ["trigger"], ["events", 5, 2], ["exit"])
    assert [event[2] for event in results[2] if event[0] == "file"] == ["TCAP0001.DNG"] * 2


def test_two_files_of_one_shot(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--fault", "two-files:times=1")
    results = camera.drive(["init"], ["trigger"], ["events", 5, 2], ["exit"])
    assert [event[2] for event in results[2] if event[0] == "file"] == ["TCAP0001.DNG", "TCAP0001A.DNG"]


def test_the_same_picture_delivered_twice(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--fault", "same-picture:times=1")
    results = camera.drive(["init"], *SHOT, ["read", "$-1"], *SHOT, ["read", "$-1"], *SHOT, ["read", "$-1"], ["exit"])
    first, second, third = (results[n]["sha256"] for n in (3, 6, 9))
    assert first == second != third


def test_a_low_battery_is_shown_and_an_empty_one_refuses_live_view(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--fault", "battery:percent=2")
    results = camera.drive(["init"], ["get", "batterylevel"], ["preview"], ["exit"])
    assert results[1] == "2%"
    assert results[2]["text"] == ["Liveview cannot start: Battery exhausted"]


def test_the_body_falls_asleep_when_idle_and_wakes_by_its_button(start_camera: Any) -> None:
    camera = start_camera("--body", "0a", "--fault", "sleep:idle_s=0.5")
    results = camera.drive(
        ["init"],
        ["preview"],
        ["sleep", 1.2],
        ["preview"],
        ["exit"],
        ["init"],
        ["control", "press"],
        ["control", "clear-faults"],
        ["init"],
        ["preview"],
        ["exit"],
    )
    assert results[3]["error"] < 0
    assert results[5]["error"] < 0
    assert results[9]["jpeg"] is True
