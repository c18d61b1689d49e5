"""Every exception that this package raises on purpose."""

from moulddesign.core.messages import Message


class MouldError(Exception):
    """Something that the user can act on; its text is one sentence, or one a line."""


class SpecError(MouldError):
    """A value that was asked for cannot be used.

    Parameters
    ----------
    field : str
        Dotted name of the field, as in the design file or the option.
    value : object
        What was given.
    need : Message
        What is needed, and what to try, as the end of a sentence: "must be above 0 mm".
    """

    def __init__(self, field: str, value: object, need: Message | str) -> None:
        super().__init__(field, value, need)
        self.field = field
        self.value = value
        self.need = need

    def __str__(self) -> str:
        return f"{self.field} = {self.value!r}: {self.need}."


class FileError(MouldError):
    """A file cannot be read or written.

    Parameters
    ----------
    path : str
        The file.
    reason : Message
        What is wrong with it and what to try, as the end of a sentence.
    """

    def __init__(self, path: str, reason: Message | str) -> None:
        super().__init__(path, reason)
        self.path = path
        self.reason = reason

    def __str__(self) -> str:
        return f"{self.path}: {self.reason}."


class KernelError(MouldError):
    """A geometry library could not do a step.

    Parameters
    ----------
    step : Message
        What was being made, such as "the stamp's pocket".
    reason : Message or str
        What the library said, in its own words, or what to try.
    """

    def __init__(self, step: Message | str, reason: Message | str) -> None:
        super().__init__(step, reason)
        self.step = step
        self.reason = reason

    def __str__(self) -> str:
        return f"Making {self.step} failed: {self.reason}."


class WriteError(FileError):
    """A file or folder could not be made; what was there before is untouched."""


class FindingError(MouldError):
    """Findings failed, so nothing was published.

    Parameters
    ----------
    names : tuple of str
        The findings that failed.
    """

    def __init__(self, names: tuple[str, ...]) -> None:
        super().__init__(names)
        self.names = names

    def __str__(self) -> str:
        return (
            f"Nothing is written, for {len(self.names)} of the findings failed "
            f"({'; '.join(self.names)}): change the design, or publish all the same with "
            "--keep-failing."
        )
