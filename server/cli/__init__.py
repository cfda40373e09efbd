"""The command line `torsolog`."""

from server.cli.app import main

__all__ = ["main"]
