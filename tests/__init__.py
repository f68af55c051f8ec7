"""A package of its own: a library that brings a top-level ``tests`` must not stand in its place."""
