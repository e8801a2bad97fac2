"""Everything that is damaged here, by name: how cases are made and what must hold for each."""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from hypothesis import strategies as st

from tests.fuzz import files, pictures, rolls, wire


@dataclass(frozen=True, slots=True)
class Target:
    """One way in from outside."""

    name: str
    cases: st.SearchStrategy[Any]
    check: Callable[[Any], None]
    """Raises AssertionError, or whatever it should not, where something does not hold."""
    share: float = 1.0
    """Of the time, compared with others."""
    tell: Callable[[], str] = lambda: ""
    """What is worth knowing at the end."""


@contextlib.contextmanager
def all_targets() -> Iterator[tuple[Target, ...]]:
    """Start what the targets need, and end it."""
    with contextlib.ExitStack() as stack:
        raw = pictures.RawChecks()
        stack.callback(raw.close)
        camera = wire.WireTarget("--card-mb", "200")
        stack.callback(camera.close)
        yield (
            Target("record", files.records, files.read_a_record),
            Target("roll.toml", files.setups, files.read_a_setup),
            Target("profile", files.profiles, files.read_a_profile),
            Target("table of notes", files.tables, files.read_a_table),
            Target("roll folder", rolls.cases(), rolls.open_a_roll, 3.0),
            Target("manifest", files.manifests, files.read_a_manifest, 0.5),
            Target("name", files.names, files.take_a_name, 0.5),
            Target("live picture", pictures.live_jpegs, pictures.decode_a_live_picture, 2.0),
            Target("RAW", pictures.raw_files(), raw.check, 4.0, lambda: f"{raw.workers_lost} workers lost"),
            Target("PTP packets", wire.talk_strategy(), camera.talk, 3.0),
            Target("control lines", wire.orders, camera.order, 0.5),
        )
