"""Questions asked in a row of the screen, so that the live picture stays in sight."""

from collections.abc import Callable

from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.widgets import Input, Static

TextAnswer = Callable[[str], str | None]
"""Takes what was typed; gives back what is wrong with it, or None where it was accepted."""


class AskRow(Horizontal, can_focus=True):
    """One question at a time: typed text, or yes and no. Hidden while nothing is asked."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._on_text: TextAnswer | None = None
        self._on_yes: Callable[[], None] | None = None
        self._on_key_given: Callable[[str], str | None] | None = None
        self._question = ""

    def compose(self) -> ComposeResult:
        """Question, field, what to press."""
        yield Static(id="ask-question", markup=False)
        yield Input(id="ask-input", compact=True, select_on_focus=True)
        yield Static(id="ask-keys", markup=False)

    def on_mount(self) -> None:
        """Stay out of the way until asked."""
        self.display = False

    @property
    def asking(self) -> bool:
        """True while a question stands."""
        return bool(self.display)

    @property
    def question(self) -> str:
        """What is asked."""
        return self._question

    def ask_text(self, question: str, *, proposal: str, answer: TextAnswer) -> None:
        """Ask for text; `answer` may refuse it with a sentence, and the question stands."""
        self._begin(question, "enter: yes, do it   esc: back")
        self._on_text = answer
        field = self.query_one(Input)
        field.display = True
        field.value = proposal
        field.focus()

    def ask_yes(self, question: str, *, then: Callable[[], None]) -> None:
        """Ask for a yes."""
        self._begin(question, "y: yes   n or esc: no")
        self._on_yes = then
        self.query_one(Input).display = False
        self.add_class("-keys")
        self.focus()

    def ask_keys(self, text: str, keys: str, *, pressed: Callable[[str], str | None]) -> None:
        """Show a row that is worked with keys; `pressed` gets each key and gives the row's new text, None ends it."""
        self._begin(text, keys)
        self._on_key_given = pressed
        self.query_one(Input).display = False
        self.add_class("-keys")
        self.focus()

    def retext(self, text: str) -> None:
        """Put another text in the place of the question."""
        self._question = text
        self.query_one("#ask-question", Static).update(f" {text} ")

    def close(self) -> None:
        """End the question."""
        self.display = False
        self._on_text = self._on_yes = self._on_key_given = None
        self.screen.set_focus(None)

    def _begin(self, question: str, keys: str) -> None:
        self._on_text = self._on_yes = self._on_key_given = None
        self.retext(question)
        self.query_one("#ask-keys", Static).update(f" {keys} ")
        self.remove_class("-keys")
        self.display = True

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Hand the text over."""
        event.stop()
        if self._on_text is None:
            return
        refused = self._on_text(event.value.strip())
        if refused is None:
            self.close()
        else:
            self.retext(refused)

    def on_key(self, event: events.Key) -> None:
        """Escape ends any question; without a field, keys answer and go nowhere else."""
        if not self.asking:
            return
        if event.key == "escape":
            event.stop()
            event.prevent_default()
            self.close()
        elif self._on_key_given is not None:
            event.stop()
            text = self._on_key_given(event.key)
            self.close() if text is None else self.retext(text)
        elif self._on_yes is not None:
            event.stop()
            self._answer_yes_no(event.key)

    def _answer_yes_no(self, key: str) -> None:
        then = self._on_yes
        if key == "y" and then is not None:
            self.close()
            then()
        elif key == "n":
            self.close()
