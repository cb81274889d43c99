"""Questions at the terminal, with help, going back, and no trace when left."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import TypeVar

from analysis.records.entering.cells import AnswerError

HELP = (
    "Enter takes what stands in [brackets] or leaves the cell blank; - leaves it blank; ? explains; < goes back;"
    " Ctrl-C leaves without writing."
)

Flow = TypeVar("Flow")


class BackError(Exception):
    """Go back: to the first question with one of these keys, or else to the last one."""

    def __init__(self, keys: Collection[str] = ()) -> None:
        self.keys = keys
        super().__init__()


@dataclass(frozen=True)
class Question:
    """One question.

    Parameters
    ----------
    key : str
        Names the question; the same one is not asked twice on a way through.
    text : str
        What is asked.
    read : callable
        An answer to the value that is kept; raises AnswerError to refuse it.
    default : str
        What Enter stands for.
    required : bool
        Whether an answer is needed.
    help : str
        Shown for ``?``.
    options : str
        A line of codes to choose from, shown with the question.
    """

    key: str
    text: str
    read: Callable[[str], str]
    default: str = ""
    required: bool = False
    help: str = ""
    options: str = ""


class Session:
    """Asks the questions of a flow and remembers the answers.

    Going back runs the flow anew and hands it the answers it had up to there, so that a flow is a plain function.
    After a fault only the answers at fault are asked again; those behind them are taken as they were.

    Parameters
    ----------
    read_line : callable
        Shows a prompt and returns what is typed; EOFError ends the session.
    say : callable
        Shows a text.
    """

    def __init__(self, read_line: Callable[[str], str], say: Callable[[str], None]) -> None:
        self._read_line, self._say = read_line, say
        self._answers: list[tuple[str, str]] = []
        self._former: dict[str, str] = {}
        self._kept: dict[str, str] = {}
        self._held: list[str] = []
        self._at = 0
        self.prompts = 0

    def run(self, flow: Callable[[], Flow]) -> Flow:
        """Go through a flow until it comes to its end; again with the same answers when called again."""
        while True:
            self._at = 0
            try:
                return flow()
            except BackError as back:
                self.back(back.keys)
            finally:
                self._tell_held()

    def back(self, keys: Collection[str] = ()) -> None:
        """Forget the answers to the questions with these keys; where there is none, the last answer."""
        at = next((i for i, (key, _) in enumerate(self._answers) if key in keys), len(self._answers) - 1)
        if at < 0:
            self._say("This is the first question. Ctrl-C leaves; the log is untouched.")
            return
        gone = self._answers[at:]
        self._former.update(gone)
        self._kept = {key: answer for key, answer in gone[1:] if key not in keys}
        del self._answers[at:]

    @property
    def keys(self) -> list[str]:
        """Keys of the questions answered, in their order."""
        return [key for key, _ in self._answers]

    @property
    def _replays(self) -> bool:
        return self._at < len(self._answers)

    def say(self, text: str) -> None:
        """Show a text, unless the questions around it have been answered already."""
        if self._replays:
            return
        self._held.append(text)
        if not self._kept:
            self._tell_held()

    def _tell_held(self) -> None:
        for text in self._held:
            self._say(text)
        self._held.clear()

    def _stands(self, question: Question) -> bool:
        """Whether a kept answer can be taken once more."""
        answer = self._kept.get(question.key)
        if answer is None or (question.required and not answer):
            return False
        try:
            return not answer or question.read(answer) == answer
        except AnswerError:
            return False

    def ask(self, question: Question) -> str:
        """Ask until there is an answer that can be taken."""
        if self._replays:
            key, given = self._answers[self._at]
            if key == question.key:
                self._at += 1
                return given
            # Someone wrote meanwhile, so that other questions come: answers go by their question, never by their place.
            rest = self._answers[self._at :]
            self._former.update(rest)
            self._kept.update(rest)
            del self._answers[self._at :]
        if self._stands(question):
            self._held.clear()
            return self._answered(question, self._kept.pop(question.key))
        self._tell_held()
        default = self._former.get(question.key, question.default)
        prompt = f"{question.text}{f' [{default}]' if default else ''}: "
        if question.options:
            self._say(question.options)
        while True:
            typed = self._read_line(prompt).strip()
            self.prompts += 1
            if typed == "<":
                self._kept.clear()
                raise BackError
            answer = self._taken(question, typed, default)
            if answer is not None:
                return self._answered(question, answer)

    def _answered(self, question: Question, answer: str) -> str:
        self._answers.append((question.key, answer))
        self._at += 1
        return answer

    def _taken(self, question: Question, typed: str, default: str) -> str | None:
        """The answer, or None after saying why there is none."""
        if typed == "?":
            self._say(f"{question.help}\n{HELP}" if question.help else HELP)
            return None
        try:
            answer = default if not typed else "" if typed == "-" else question.read(typed)
        except AnswerError as error:
            self._say(f"  {error.found} {error.todo}".rstrip())
            return None
        if question.required and not answer:
            self._say("  This one needs an answer. ? explains.")
            return None
        return answer
