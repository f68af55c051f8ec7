"""Throwbook: test and commissioning logger for electric actuators that throw attachment lock pins."""

__version__ = "0.1.0"
