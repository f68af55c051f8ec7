"""The status of a rig, what raises and lowers it, and its maintenance history."""
