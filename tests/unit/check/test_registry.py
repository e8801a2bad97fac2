"""The registry of findings is complete and fit to be shown."""

from tethercap.check import registry
from tethercap.check.findings import Finding, FindingKind, RawFindings, Severity


def test_every_kind_is_registered_under_its_code() -> None:
    kinds = [value for value in vars(registry).values() if isinstance(value, FindingKind)]
    assert {kind.code: kind for kind in kinds} == registry.REGISTRY


def test_every_sentence_is_one_and_every_help_says_more() -> None:
    for kind in registry.REGISTRY.values():
        assert kind.sentence.endswith(".")
        assert kind.help.endswith(".")
        assert kind.sentence not in kind.help


def test_only_failures_fail() -> None:
    for kind in registry.REGISTRY.values():
        assert RawFindings((Finding(kind),), None, None).passed is (kind.severity is not Severity.FAILURE)
