"""The command line: one module a verb."""

from moulddesign.cli.app import main

__all__ = ["main"]
