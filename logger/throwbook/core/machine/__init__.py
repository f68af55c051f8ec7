"""The rig as its data sheets and its builder give it: does it agree with itself, what the motor line, wiring, limits and duty foretell."""
