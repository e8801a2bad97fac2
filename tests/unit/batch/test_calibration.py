import json
from pathlib import Path

import pytest

from tethercap.batch.calibration import read_targets
from tethercap.errors import ProfileError

QUAD = [[10, 10], [50, 10], [50, 50], [10, 50]]


def written(folder: Path, said: object) -> Path:
    path = folder / "patches.json"
    path.write_text(json.dumps(said), encoding="utf-8")
    return path


def test_pictures_pass_as_they_are(tmp_path: Path) -> None:
    targets = read_targets([tmp_path / "a.dng", tmp_path / "b.dng"])
    assert [target.raw_path.name for target in targets] == ["a.dng", "b.dng"]
    assert targets[0].patches == ()


@pytest.mark.parametrize(
    "said",
    [
        {"card.dng": QUAD},
        {"card.dng": {"corners_px": QUAD}},
        [{"file": "card.dng", "corners_px": QUAD}],
        {"files": [{"file": "card.dng", "corners": QUAD}]},
    ],
)
def test_one_quadrilateral_is_an_outline(said: object, tmp_path: Path) -> None:
    (target,) = read_targets([written(tmp_path, said)])
    assert target.raw_path == tmp_path / "card.dng"
    assert target.outline is not None
    assert target.outline.bottom_right == (50, 50)


@pytest.mark.parametrize(
    "said",
    [
        {"chart.dng": [QUAD] * 24},
        {"chart.dng": {"patches_px": [QUAD] * 24}},
        {"file": "chart.dng", "patches": [{"corners_px": QUAD}] * 24},
    ],
)
def test_many_are_patches(said: object, tmp_path: Path) -> None:
    (target,) = read_targets([written(tmp_path, said)])
    assert len(target.patches) == 24


def test_exposures_of_cards_may_be_given(tmp_path: Path) -> None:
    said = {"a.dng": {"corners_px": QUAD, "stops": -1}, "b.dng": {"stops": 3}}
    assert [target.stops for target in read_targets([written(tmp_path, said)])] == [-1.0, 3.0]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "3",
        "{}",
        "[]",
        '{"a.dng": 5}',
        '{"a.dng": {"patches_px": []}}',
        '{"a.dng": [[1, 2]]}',
        '{"a.dng": [[NaN, 2], [9, 2], [9, 9], [2, 9]]}',
    ],
)
def test_what_makes_no_sense_is_refused_by_name(text: str, tmp_path: Path) -> None:
    (tmp_path / "patches.json").write_text(text, encoding="utf-8")
    with pytest.raises(ProfileError, match=r"patches\.json"):
        read_targets([tmp_path / "patches.json"])
