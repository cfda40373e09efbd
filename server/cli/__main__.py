"""Lets `python -m server.cli` stand for `torsolog`."""

from server.cli.app import main

main()
