"""Lines of the convert screen; pure."""

from tethercap.tui.convert_queue import QueueState
from tethercap.tui.lines import Line, Role, Span, bar, line
from tethercap.tui.recipe_desk import RecipeDesk, Scope
from tethercap.tui.widgets.panel import duration_text


def scope_line(desk: RecipeDesk) -> Line:
    """Heading over the recipe: whom it is for."""
    own = "  (this frame has its own)" if desk.scope is Scope.ROLL and desk.frame_differs else ""
    return line(Span("recipe for ", Role.HEADING), Span(desk.scope.value, Role.STRONG), Span(own, Role.FAINT))


def progress_line(state: QueueState, desk: RecipeDesk, words: tuple[str, bool], width: int) -> Line:
    """The row over the keys: how far positives are, what went wrong, or what can be done."""
    text, is_bad = words
    if is_bad:
        return line(Span(f" ! {text}", Role.BAD))
    if state.is_running:
        return _running(state, width)
    if state.failures:
        return line(Span(f" ! {len(state.failures)} not converted: {state.failures[0]}", Role.BAD))
    if state.was_stopped:
        return line(Span(f" stopped: {state.done} of {state.total} positives made", Role.CAUTION))
    if state.total:
        kept = f"; {state.kept} that you had changed kept in edited/" if state.kept else ""
        return line(Span(f" ✓ {state.done} positives made", Role.GOOD), Span(kept, Role.CAUTION))
    if text:
        return line(Span(f" {text}", Role.CAUTION))
    kept = "kept in the roll" if desk.is_stored else "keeping …"
    return line(Span(f" ← → turn what is marked, the picture follows; {kept}", Role.FAINT))


def _running(state: QueueState, width: int) -> Line:
    done = bar(state.share, max(10, width // 3), Role.BUSY)
    if not state.total:
        return line(" ", *done, " looking for frames …")
    if state.looked < state.total or not state.now:
        return line(" ", *done, f" looking at frame {min(state.looked + 1, state.total)} of {state.total}")
    left = f", {duration_text(state.seconds_left)} left" if state.seconds_left is not None else ""
    return line(" ", *done, f" {state.done} of {state.total} made, now frame {state.now}", Span(left, Role.FAINT))
