"""Everything that leaves the tool: one module a format, and the folder they go into."""

from moulddesign.export.folder import publish, publish_failing

__all__ = ["publish", "publish_failing"]
