"""Pure computation: no file, port, print, clock or environment. SI floats, frozen dataclasses."""
