"""What runs out is told by the camera process by itself: battery and room on the card."""

from tests.contract.subjects import SimulatedBody, Subject
from tethercap.camera.base import CaptureFinished, SuppliesSeen
from tethercap.camera.child import ChildCamera
from tethercap.exposure.settings import Setting


def test_battery_and_card_are_told_soon_after_opening_and_not_during_a_shot() -> None:
    body = SimulatedBody("--fault", "battery:percent=15", "--card-mb", "700")
    try:
        camera = ChildCamera(body.port)
        try:
            subject = Subject("0a", camera)
            camera.settings()
            seen = [event for event in subject.wait_for(SuppliesSeen) if isinstance(event, SuppliesSeen)]
            camera.fire()
            during = subject.wait_for(CaptureFinished)
        finally:
            camera.close()
    finally:
        body.close()
    assert seen[0].states[Setting.BATTERY].value.number == 15
    assert seen[0].card_free_bytes is not None
    assert 600e6 < seen[0].card_free_bytes <= 700e6
    assert not any(isinstance(event, SuppliesSeen) for event in during)
