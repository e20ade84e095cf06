"""Track-test run log and setup-change analyser for straight-line race cars."""

__version__ = "0.1.0"
