"""A short, repeatable piece of what `python -m tests.fuzz` does for long."""

from collections.abc import Iterator

import hypothesis
import pytest
from hypothesis import HealthCheck, Phase

from tests.fuzz.targets import Target, all_targets

CASES = {"roll folder": 25, "RAW": 30, "PTP packets": 25, "control lines": 15, "live picture": 80, "roll.toml": 40}
NAMES = (
    "record", "roll.toml", "profile", "table of notes", "roll folder", "manifest", "name", "live picture", "RAW",
    "PTP packets", "control lines",
)  # fmt: skip


@pytest.fixture(scope="module")
def targets() -> Iterator[dict[str, Target]]:
    with all_targets() as every:
        assert [target.name for target in every] == list(NAMES)
        yield {target.name: target for target in every}


@pytest.mark.timeout(120)
@pytest.mark.parametrize("name", NAMES)
def test_damage_is_borne(name: str, targets: dict[str, Target]) -> None:
    target = targets[name]

    @hypothesis.settings(
        max_examples=CASES.get(name, 60),
        derandomize=True,
        database=None,
        deadline=None,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
    )
    @hypothesis.given(target.cases)
    def one(case: object) -> None:
        target.check(case)

    one()
