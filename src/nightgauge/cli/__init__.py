"""The command line: parse, call one function of the house, print. No rule of the trade lives here."""

from nightgauge.cli.app import main

__all__ = ["main"]
