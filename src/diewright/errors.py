"""The one family of errors that people see.

Every refusal in diewright is a :class:`DeskError`: one sentence that says what happened, where, and
what to do. Anything else that escapes is a defect of ours and is reported as such.
"""

from __future__ import annotations


class DeskError(Exception):
    """A refusal in one clear sentence.

    Parameters
    ----------
    what:
        What happened, with the value and what was expected.
    where:
        The field (``sheet.thickness``), file or place concerned; empty if there is none.
    help:
        What the person can do about it.
    """

    def __init__(self, what: str, *, where: str = "", help: str = "") -> None:
        self.what = what
        self.where = where
        self.help = help
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """The whole message in one line."""
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head} {self.help}".strip() if self.help else head

    def as_dict(self) -> dict[str, str]:
        """The one error shape of the server and of ``--json``."""
        return {"error": self.what, "where": self.where, "help": self.help}


class InputError(DeskError):
    """Something a person stated cannot be used as it stands."""


class FileError(DeskError):
    """A file is missing, damaged, hostile, or not what it says it is."""


class SolveError(DeskError):
    """A computation did not reach a result that can be trusted."""


class StoreError(DeskError):
    """The folder of results cannot be written or read."""


class Cancelled(DeskError):
    """The person stopped the work; what was finished is kept."""

    def __init__(self, what: str = "Stopped as asked; the finished stages are kept.") -> None:
        super().__init__(what)
