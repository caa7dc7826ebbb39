"""What can go wrong, said in one line: where, what it says, what is wrong, what to do."""

from __future__ import annotations


class HivewatchError(Exception):
    """A fault that a person can mend; `str()` is the line to show.

    Parameters
    ----------
    where : str
        The file, line, topic or address.
    said : str
        What stands there, as the person would recognise it; empty when there is nothing to quote.
    wrong : str
        What is wrong with it.
    remedy : str
        What to do.
    """

    def __init__(self, where: str, said: str, wrong: str, remedy: str) -> None:
        """Keep the four parts, so that a page can show them apart."""
        super().__init__(where, said, wrong, remedy)
        self.where, self.said, self.wrong, self.remedy = where, said, wrong, remedy

    def __str__(self) -> str:
        """Join the parts that are not empty."""
        fault = f"{self.wrong}; {self.remedy}" if self.remedy else self.wrong
        return ": ".join(part for part in (self.where, self.said, fault) if part)


class UsageError(HivewatchError):
    """A mistake in a command, a file or a setting: exit status 2."""


class SeveralErrors(UsageError):  # noqa: N818 - it is several
    """All the mistakes of one file at once, a line each."""

    def __init__(self, errors: list[UsageError]) -> None:
        """Keep every mistake, in the order they stand in the file."""
        first = errors[0]
        super().__init__(first.where, first.said, first.wrong, first.remedy)
        self.errors = errors

    def __str__(self) -> str:
        """Give one line a mistake."""
        return "\n".join(str(error) for error in self.errors)


class StoreError(HivewatchError):
    """The store cannot be opened, read or written."""


class DeliveryError(HivewatchError):
    """A message could not be handed over; `permanent` when trying again cannot help."""

    def __init__(
        self, where: str, said: str, wrong: str, remedy: str, *, permanent: bool = False
    ) -> None:
        """Keep the four parts and whether another try makes sense."""
        super().__init__(where, said, wrong, remedy)
        self.permanent = permanent
