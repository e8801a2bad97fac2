"""A strip in, a filed roll and a contact sheet out: the real driver, real RAW, the simulated camera's own truth."""

import json
import subprocess
from pathlib import Path

import cv2
import numpy as np
import pytest
import rawpy
import tifffile

from tests.e2e.rolls import Run, run_roll
from tethercap.image_files.jpeg import decode_jpeg
from tethercap.roll.fixity import verify
from tethercap.session import events
from tethercap.watch.limits import Limits

SLIP_MM = 0.2
"""Film may settle by this much between the verdict and the exposure; the check of the RAW allows it."""


@pytest.fixture(scope="module")
def strip(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Run]:
    folder = tmp_path_factory.mktemp("e2e") / "strip"
    return folder, run_roll(folder, prove=True)


@pytest.mark.timeout(300)
def test_six_frames_are_filed_and_numbered_as_the_film_has_them(strip: tuple[Path, Run]) -> None:
    _, run = strip
    assert run.accepted_ids() == ["1", "2", "3", "4", "5", "6"]
    labels = [shot["frame_label"] for shot in run.shots]
    assert [label for label, filed in zip(labels, run.filed(), strict=True) if filed.accepted] == run.accepted_ids()


@pytest.mark.timeout(300)
def test_no_accepted_picture_is_out_of_limits_by_the_cameras_own_truth(strip: tuple[Path, Run]) -> None:
    _, run = strip
    limits = Limits()
    for shot, filed in zip(run.shots, run.filed(), strict=True):
        if filed.accepted:
            assert max(abs(value) for value in shot["offset_mm"]) <= limits.centring_mm + SLIP_MM
            assert abs(shot["tilt_deg"]) <= limits.tilt_deg + 0.15
            assert abs(shot["speed_mm_s"]) * shot["time_s"] < 0.05


@pytest.mark.timeout(300)
def test_the_raw_files_open_and_are_the_size_the_sensor_has(strip: tuple[Path, Run]) -> None:
    folder, _ = strip
    files = sorted((folder / "raw").glob("*.dng"))
    assert len(files) == 6
    for path in files:
        with rawpy.imread(str(path)) as raw:
            assert raw.raw_image_visible.shape == (2000, 3000)


@pytest.mark.timeout(300)
def test_positives_and_sheet_are_pictures_and_no_two_are_alike(strip: tuple[Path, Run]) -> None:
    folder, _ = strip
    positives = [tifffile.imread(path) for path in sorted((folder / "positive").glob("*.tif"))]
    assert len(positives) == 6
    small = []
    for pixels in positives:
        assert pixels.dtype == np.uint16
        assert pixels.shape[1] / pixels.shape[0] == pytest.approx(1.5, abs=0.02)
        assert np.percentile(pixels, 99) - np.percentile(pixels, 1) > 20_000
        small.append(cv2.resize(pixels, (30, 20)).astype(float).ravel())
    likeness = np.corrcoef(small) - np.eye(6)
    assert likeness.max() < 0.98
    sheet = cv2.imread(str(folder / "strip_contact.jpg"))
    assert sheet is not None
    assert sheet.std() > 10


@pytest.mark.timeout(300)
def test_proofs_are_told_before_their_positives_and_show_what_those_show(strip: tuple[Path, Run]) -> None:
    folder, run = strip
    places = {event.frame_id: n for n, event in enumerate(run.said) if isinstance(event, events.PositiveMade)}
    proofs = [(n, event) for n, event in enumerate(run.said) if isinstance(event, events.ProofMade)]
    # One that a busy machine was late with is passed over.
    assert proofs
    for place, proof in proofs:
        assert place < places[proof.frame_id]
        shown = decode_jpeg(proof.jpeg)
        of_positive = cv2.imread(str(next((folder / "proof").glob(f"*_{int(proof.frame_id):02d}.jpg"))))
        assert of_positive is not None
        np.testing.assert_allclose(shown.shape, of_positive.shape, atol=20)
        small = [cv2.resize(each, (60, 40), interpolation=cv2.INTER_AREA)[..., 1] for each in (shown, of_positive)]
        one, other = (np.asarray(each, np.float64).ravel() for each in small)
        assert np.corrcoef(one, other)[0, 1] > 0.9


@pytest.mark.timeout(300)
def test_checksums_hold_for_us_and_for_the_systems_own_tool(strip: tuple[Path, Run]) -> None:
    folder, _ = strip
    report = verify(folder)
    assert report.is_sound
    assert report.checked >= 6 * 4
    done = subprocess.run(
        ["sha256sum", "-c", "--quiet", "manifest-sha256.txt"], cwd=folder, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.timeout(300)
def test_the_record_alone_tells_the_roll(strip: tuple[Path, Run]) -> None:
    folder, _ = strip
    lines = [json.loads(line) for line in (folder / "record.jsonl").read_text().splitlines()]
    filed = [line for line in lines if line["kind"] == "filed" and line["accepted"]]
    assert [line["frame"] for line in filed] == ["1", "2", "3", "4", "5", "6"]
    for line in filed:
        assert line["settings"]["iso"]
        assert line["camera"]["serial"] == "SIM0001"
        assert len(line["corners_px"]) == 4
