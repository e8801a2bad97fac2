"""Damage for everything that comes from outside: what is refused is refused in words, and nothing hangs or dies."""
