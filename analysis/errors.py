"""Errors meant for the person at the bench: where, what was found, the rule, what to do."""

from __future__ import annotations


class ReworkError(Exception):
    """Something the user can put right; the command line prints it without a traceback.

    Parameters
    ----------
    found : str
        What was found, in plain words.
    rule : str, optional
        What should have been there.
    todo : str, optional
        The next step for the user.
    where : str, optional
        File, line, job or command the error belongs to.
    """

    def __init__(self, found: str, *, rule: str = "", todo: str = "", where: str = "") -> None:
        self.found, self.rule, self.todo, self.where = found, rule, todo, where
        super().__init__(str(self))

    def __str__(self) -> str:
        head = f"{self.where}: {self.found}" if self.where else self.found
        parts = [head]
        if self.rule:
            parts.append(f"Rule: {self.rule}")
        if self.todo:
            parts.append(f"What to do: {self.todo}")
        return "\n  ".join(parts)

    def _render_traceback_(self) -> list[str]:
        """Lines that IPython, and so a notebook, shows instead of a traceback."""
        return str(self).splitlines()


class LogError(ReworkError):
    """The log cannot be read at all, or has faults that forbid going on."""


class SettingsError(ReworkError):
    """The settings file (bench.toml) holds something that cannot be used."""


class ModelError(ReworkError):
    """A model was asked for something it cannot honestly give."""


class UnconvergedError(ModelError):
    """A fit did not converge; its numbers are not shown."""


class UnseenLevelError(ModelError):
    """A value that the model never saw at fitting; it is refused by name."""


class RenderError(ReworkError):
    """A page could not be made; the last good one is left in place."""
