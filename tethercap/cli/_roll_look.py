"""The end of a capture: positives made frame by frame are made again with one look for the whole roll."""

from tethercap.batch.pools import make_pool
from tethercap.batch.roll_jobs import has_frames_of_their_own, reconvert_roll
from tethercap.cli._progress import count_bar, say
from tethercap.errors import TethercapError
from tethercap.roll.folder import Roll

_PROCESSES = 2


def match_frames(roll: Roll) -> None:
    """Convert the roll as one where frames were converted alone; in trouble the positives that are there stay.

    Parameters
    ----------
    roll : Roll
        Open, and nobody captures into it any more.
    """
    taken = sum(frame.chosen is not None for frame in roll.frames.values())
    if taken < 2 or not has_frames_of_their_own(roll):
        return
    say("Making the positives again with one look for the whole roll; stop with Ctrl+C, nothing is lost by it.")
    try:
        with (
            make_pool("processes", min(_PROCESSES, taken)) as pool,
            count_bar("One look for the roll", 2 * taken) as advance,
        ):
            done = []
            for made in reconvert_roll(roll, pool, on_look=advance):
                done.append(made)
                advance()
    except TethercapError as error:
        say(f"The roll could not be converted as one: {error} The positives made before are in place.")
        return
    except KeyboardInterrupt:
        say("Stopped. The other positives are as they were; tethercap convert ROLL goes on.")
        return
    for made in done:
        for text in (made.trouble, *made.kept):
            if text is not None:
                say(f"frame {made.frame_id}: {text}")
