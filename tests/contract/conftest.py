"""Every test here runs on every camera; a test that needs what a camera lacks says so and is skipped there."""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterator
from pathlib import Path

import pytest

from mock_camera.bodies import BODIES
from tests.contract.subjects import Subject, make_fake, make_simulated, virtual_camera


@pytest.fixture(scope="module", autouse=True)
def own_runtime_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Lock files of these tests must not meet those of others."""
    folder = tmp_path_factory.mktemp("runtime")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_RUNTIME_DIR", str(folder))
        yield folder


@pytest.fixture(scope="module", params=["fake", "virtual", *BODIES])
def subject(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Subject]:
    """One camera for all tests of a module."""
    log_dir = tmp_path_factory.mktemp("log")
    if request.param == "virtual":
        with virtual_camera(tmp_path_factory.mktemp("virtual"), log_dir) as virtual:
            yield virtual
        return
    made = make_fake() if request.param == "fake" else make_simulated(request.param, log_dir=log_dir)
    yield made
    made.camera.close()
    for close in made.close_also:
        close()


@pytest.fixture(autouse=True)
def quiet(request: pytest.FixtureRequest) -> None:
    """Let no event of one test reach the next."""
    if "subject" in request.fixturenames:
        request.getfixturevalue("subject").camera.events()


@pytest.fixture(scope="session", autouse=True)
def no_process_left() -> Iterator[None]:
    """Every camera process must be gone when all is done."""
    yield
    assert multiprocessing.active_children() == []
