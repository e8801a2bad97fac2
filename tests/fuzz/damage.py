"""Damaged files: good ones, with bits turned, pieces cut out, doubled, put in or written over."""

from collections.abc import Callable, Sequence
from functools import reduce

from hypothesis import strategies as st

Damage = Callable[[bytes], bytes]
_ODD_NUMBERS = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0xFFFFFFFFFFFFFFFF)


def _turn_bit(place: int, bit: int) -> Damage:
    def damage(content: bytes) -> bytes:
        if not content:
            return content
        at = place % len(content)
        return content[:at] + bytes((content[at] ^ (1 << bit),)) + content[at + 1 :]

    return damage


def _cut_off(place: int) -> Damage:
    return lambda content: content[: place % (len(content) + 1)]


def _take_out(place: int, length: int) -> Damage:
    def damage(content: bytes) -> bytes:
        at = place % (len(content) + 1)
        return content[:at] + content[at + length :]

    return damage


def _put_in(place: int, piece: bytes, *, over: bool) -> Damage:
    def damage(content: bytes) -> bytes:
        at = place % (len(content) + 1)
        return content[:at] + piece + content[at + (len(piece) if over else 0) :]

    return damage


def _double(place: int, length: int) -> Damage:
    def damage(content: bytes) -> bytes:
        at = place % (len(content) + 1)
        return content[: at + length] + content[at:]

    return damage


def pieces(words: Sequence[bytes]) -> st.SearchStrategy[bytes]:
    """Pieces worth putting in: the format's own words, numbers at the rim, anything."""
    numbers = st.builds(
        lambda number, size, order: (number & ((1 << 8 * size) - 1)).to_bytes(size, order),
        st.sampled_from(_ODD_NUMBERS),
        st.sampled_from((1, 2, 4, 8)),
        st.sampled_from(("little", "big")),
    )
    kinds = [numbers, st.binary(max_size=12)]
    return st.one_of(st.sampled_from(words), *kinds) if words else st.one_of(*kinds)


def damaged(samples: Sequence[bytes], words: Sequence[bytes] = (), *, most: int = 6) -> st.SearchStrategy[bytes]:
    """One of the samples after up to `most` injuries; the first kilobyte, where headers are, gets half of them."""
    place = st.one_of(st.integers(0, 1023), st.integers(0, 1 << 30))
    length = st.one_of(st.integers(1, 16), st.integers(1, 5000))
    injury = st.one_of(
        st.builds(_turn_bit, place, st.integers(0, 7)),
        st.builds(_turn_bit, place, st.integers(0, 7)),
        st.builds(_cut_off, place),
        st.builds(_take_out, place, length),
        st.builds(_double, place, length),
        st.builds(lambda at, piece, over: _put_in(at, piece, over=over), place, pieces(words), st.booleans()),
    )
    injuries = st.lists(injury, min_size=1, max_size=most)
    return st.builds(
        lambda sample, some: reduce(lambda content, harm: harm(content), some, sample),
        st.sampled_from(samples),
        injuries,
    )
