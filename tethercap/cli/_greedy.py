"""Options that take every word up to the next option: `--grey A B C`."""

from collections.abc import Collection, Iterable

import click


def spread(args: Iterable[str], greedy: Collection[str]) -> list[str]:
    """Write `--grey A B C` as `--grey A --grey B --grey C` for the options in `greedy`."""
    spread_out: list[str] = []
    current, fresh = "", False
    for word in args:
        if word.startswith("-") and word != "-":
            current, fresh = (word, True) if word in greedy else ("", False)
            spread_out.append(word)
        elif current and not fresh:
            spread_out += [current, word]
        else:
            spread_out.append(word)
            fresh = False
    return spread_out


class GreedyCommand(click.Command):
    """A command whose option `--grey` takes all words up to the next option; files come before it."""

    greedy = ("--grey",)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Spread greedy options out, then parse as usual."""
        return super().parse_args(ctx, spread(args, self.greedy))
