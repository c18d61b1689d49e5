"""Every exception that this package raises on purpose.

Their arguments are their fields, so that they pass between processes by pickle.
"""

from dataclasses import dataclass
from typing import Any, Final

from moulddesign.core.limits import MOST_SAID
from moulddesign.core.messages import Message, say, word


def _shortened(value: Any) -> Any:  # noqa: ANN401 (whatever was given)
    """Return the beginning of what is too long for a sentence, and anything else as it is."""
    if isinstance(value, int) and abs(value) >= 10**MOST_SAID:  # Python refuses to print it
        return f"{str(value // 10 ** (value.bit_length() // 4))[:20]}..."
    if isinstance(value, list | dict | tuple) and len(text := repr(value)) > MOST_SAID:
        return f"{text[:60]}..."
    return f"{value[:60]}..." if isinstance(value, str) and len(value) > MOST_SAID else value


class MouldError(Exception):
    """Something that the user can act on; its text is one sentence, or one a line.

    Each kind says itself what its message is, or its text.
    """

    def __str__(self) -> str:
        return f"{self.message}."

    @property
    def message(self) -> Message:
        """What is wrong, for any language, without a full stop."""
        return word(str(self).removesuffix("."))


class SpecError(MouldError):
    """A value that was asked for cannot be used."""

    def __init__(self, field: str, value: object, need: Message) -> None:
        super().__init__(field, value, need)
        self.field = _shortened(field)
        """Dotted name, as in the design file or the option."""
        self.value = _shortened(value)
        """What was given; the beginning of it where it is long."""
        self.need = need
        """What is needed and what to try, as the end of a sentence: "must be above 0 mm"."""

    @property
    def message(self) -> Message:
        """What is wrong, for any language, without a full stop."""
        return say("core.refused", of=f"{self.field} = {self.value!r}", need=self.need)


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing that is wrong in a file."""

    line: int | None
    """From 1; None where the file as a whole is meant."""
    error: SpecError

    def __str__(self) -> str:
        if self.line is None:
            return str(self.error)
        return str(say("core.on-line", line=self.line, sentence=str(self.error)))


class FileMistakesError(SpecError):
    """A file holds mistakes; its field, value and need are those of the first."""

    def __init__(self, path: str, mistakes: tuple[Mistake, ...]) -> None:
        MouldError.__init__(self, path, mistakes)
        self.path = path
        self.mistakes = mistakes
        first = mistakes[0].error
        self.field, self.value, self.need = first.field, first.value, first.need

    def __str__(self) -> str:
        if len(self.mistakes) == 1:
            return f"{self.path}, {self.mistakes[0]}"
        heading = say("core.mistakes", path=self.path, count=len(self.mistakes))
        return "\n".join([f"{heading}:", *(f"  {each}" for each in self.mistakes)])


class FileError(MouldError):
    """A file cannot be read or written."""

    def __init__(self, path: str, reason: Message) -> None:
        super().__init__(path, reason)
        self.path = path
        # What a parser says may repeat megabytes of the file.
        self.reason = Message(
            reason.id, tuple((name, _shortened(value)) for name, value in reason.values)
        )
        """What is wrong and what to try, as the end of a sentence."""

    @property
    def message(self) -> Message:
        """What is wrong, for any language, without a full stop."""
        return say("core.refused", of=self.path, need=self.reason)


class KernelError(MouldError):
    """A geometry library could not do a step."""

    def __init__(self, step: Message, reason: Message) -> None:
        super().__init__(step, reason)
        self.step = step
        """What was being made: "the stamp's pocket"."""
        self.reason = reason
        """What the library said, in its own words, or what to try."""

    @property
    def message(self) -> Message:
        """What is wrong, for any language, without a full stop."""
        return say("core.step-failed", step=self.step, reason=self.reason)


class WriteError(FileError):
    """A file or folder could not be made; what was there before is untouched."""


PUBLISH_FAILING: Final = say("core.publish-failing")
"""What to try where the findings of a build failed."""


class FindingError(MouldError):
    """Findings failed, so nothing was published."""

    def __init__(self, names: tuple[str, ...], advice: Message = PUBLISH_FAILING) -> None:
        super().__init__(names, advice)
        self.names = names
        """Names of the findings that failed."""
        self.advice = advice
        """What to try."""

    @property
    def message(self) -> Message:
        """What failed; the findings' names are in English."""
        names, count = "; ".join(self.names), len(self.names)
        return say("core.findings-failed", count=count, names=names, advice=self.advice)
