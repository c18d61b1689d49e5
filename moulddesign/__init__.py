"""Design filled, pressed pastries and the printable moulds that press them.

>>> from moulddesign import Design, build, publish
>>> made = publish(build(Design()), "exports/plain")  # doctest: +SKIP
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from moulddesign.building import Build, build
    from moulddesign.design import Design
    from moulddesign.export import publish

__all__ = ["Build", "Design", "__version__", "build", "publish"]
__version__ = "0.2.0"


def __getattr__(name: str) -> Any:  # noqa: ANN401 (whatever the module holds)
    """Load the geometry libraries only when something is built, and the design's when asked for."""
    if name == "Design":
        from moulddesign.design import Design  # noqa: PLC0415 (Ctrl-C meanwhile is `main`'s to see)

        return Design
    if name in {"Build", "build"}:
        from moulddesign import building  # noqa: PLC0415 (weights alone need no geometry)

        return getattr(building, name)
    if name == "publish":
        from moulddesign.export import publish  # noqa: PLC0415 (the same)

        return publish
    raise AttributeError(name)
