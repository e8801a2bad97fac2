"""Conversions on a cluster: the same bytes, and a clear word where there is none."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.unit.convert.film_shots import colour_patches, shoot
from tests.unit.image_files.dng_writer import write_dng
from tethercap.batch.pools import ClusterExecutor
from tethercap.errors import TethercapError

SCRIPT = """
import sys
from distributed import LocalCluster
from tethercap.cli.main import run

if __name__ == "__main__":
    with LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None, host="127.0.0.1") as cluster:
        sys.argv = [sys.argv[0], *sys.argv[1:], "--cluster", cluster.scheduler_address]
        run()
"""


def test_a_cluster_gives_the_same_bytes(tmp_path: Path) -> None:
    paths = []
    for seed in (4, 5):
        shot = shoot(colour_patches(seed, side=80), rim_px=60)
        paths.append(str(write_dng(tmp_path / f"frame{seed}.dng", shot.raw.mosaic, neutral=(0.53, 1.0, 0.67))))
    script = tmp_path / "on_cluster.py"
    script.write_text(SCRIPT)
    words = ["convert", *paths, "--kind", "colour-negative", "--roll-together", "--no-crop", "--out"]
    for start, name in (([str(script)], "there"), (["-m", "tethercap.cli.main"], "here")):
        subprocess.run(
            [sys.executable, *start, *words, str(tmp_path / name)],
            check=True,
            timeout=100,
            cwd=Path(__file__).parents[2],
            capture_output=True,
        )
    for seed in (4, 5):
        here, there = (tmp_path / name / f"frame{seed}.tif" for name in ("here", "there"))
        assert here.read_bytes() == there.read_bytes()


def test_where_no_cluster_answers_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(TethercapError, match="not installed"):
        ClusterExecutor("tcp://127.0.0.1:1")
