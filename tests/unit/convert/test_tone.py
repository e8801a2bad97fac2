import numpy as np
import pytest

from tethercap.convert.tone import MIDDLE_GREY, print_tone


def test_the_middle_is_as_the_scene() -> None:
    light = np.linspace(0.03, 0.8, 50)
    np.testing.assert_allclose(print_tone(light), light, rtol=0.004)


def test_highlights_rise_to_the_end_and_never_reach_it() -> None:
    light = np.linspace(0.0, 16.0, 4000)
    tone = print_tone(light)
    assert np.all(np.diff(tone) > 0)
    assert tone[-1] < 1.0
    assert tone[light > 3.6].min() - print_tone(1.8) > 0.002


def test_value_and_slope_go_on_smoothly_at_the_shoulder() -> None:
    light = np.linspace(0.84, 0.86, 401)
    slopes = np.diff(print_tone(light)) / np.diff(light)
    assert slopes.max() - slopes.min() < 0.15
    assert np.abs(np.diff(slopes)).max() < 0.01


def test_colours_outside_the_space_keep_a_trace_of_light() -> None:
    assert print_tone(-0.005) > 0.0
    assert print_tone(-0.005) < print_tone(0.0) < 0.002


@pytest.mark.parametrize("contrast", [0.8, 1.0, 1.3])
def test_contrast_turns_about_middle_grey(contrast: float) -> None:
    assert print_tone(MIDDLE_GREY, contrast) == pytest.approx(MIDDLE_GREY, rel=1e-3)
    ratio = float(print_tone(2 * MIDDLE_GREY, contrast)) / MIDDLE_GREY
    assert np.log2(ratio) == pytest.approx(contrast, abs=0.01)
