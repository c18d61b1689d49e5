"""`python -m moulddesign`."""

from moulddesign.cli import program

program()
