"""Names, titles and descriptions of the bundled patterns."""

from dataclasses import dataclass

from moulddesign.pastry.artwork import pattern_names, patterns_folder
from moulddesign.pastry.svg import parsed, read
from moulddesign.pastry.svg_frame import name_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Title:
    """What a bundled pattern is called.

    Parameters
    ----------
    name : str
        As the design names it.
    title, description : str
        As its drawing says.
    """

    name: str
    title: str
    description: str


def titles() -> tuple[Title, ...]:
    """Return every bundled pattern's title, in the order of their names.

    Examples
    --------
    >>> [found.title for found in titles() if found.name == "lantern"]
    ['Lantern under a branch']
    """
    return tuple(_title(name) for name in pattern_names())


def _title(name: str) -> Title:
    path = patterns_folder() / f"{name}.svg"
    root = parsed(read(path), str(path))
    texts = {name_of(child): (child.text or "").strip() for child in root}
    return Title(name=name, title=texts.get("title", ""), description=texts.get("desc", ""))
