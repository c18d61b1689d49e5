"""What a number has to be before anything is computed from it."""

from math import isfinite

from moulddesign.errors import SpecError


def positive(field: str, value: float, unit: str) -> float:
    """Return the value, which must be finite and above 0.

    Parameters
    ----------
    field : str
        Name of the value in the sentence.
    value : float
        What was given, in `unit`.
    unit : str
        Unit in the sentence.

    Raises
    ------
    SpecError
        The value is 0, negative, infinite or not a number.

    Examples
    --------
    >>> positive("mass_g", 12.0, "g")
    12.0
    """
    if not (isfinite(value) and value > 0.0):
        raise SpecError(field, value, f"must be a finite number above 0 {unit}".rstrip())
    return value


def not_negative(field: str, value: float, unit: str) -> float:
    """Return the value, which must be finite and at least 0.

    Raises
    ------
    SpecError
        The value is negative, infinite or not a number.
    """
    if not (isfinite(value) and value >= 0.0):
        raise SpecError(field, value, f"must be a finite number of at least 0 {unit}".rstrip())
    return value


def share(field: str, value: float) -> float:
    """Return the value, which must be at least 0 and below 1.

    Raises
    ------
    SpecError
        The value lies outside, or is not a number.
    """
    if not (isfinite(value) and 0.0 <= value < 1.0):
        raise SpecError(field, value, "must be a share of at least 0 and below 1, such as 0.05")
    return value


def between(field: str, value: float, *, least: float, most: float, need: str) -> float:
    """Return the value, which must lie between two limits.

    Parameters
    ----------
    field : str
        Name of the value in the sentence.
    value : float
        What was given.
    least, most : float
        The limits, both allowed.
    need : str
        End of the sentence: what is needed and what to try.

    Raises
    ------
    SpecError
        The value lies outside, or is not a number.
    """
    if not least <= value <= most:
        raise SpecError(field, value, need)
    return value
