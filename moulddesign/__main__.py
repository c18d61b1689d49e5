"""`python -m moulddesign`."""

from moulddesign.cli import main

main()
