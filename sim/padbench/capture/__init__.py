"""Captures of real hardware: what was read, how wide everything was, and what is wrong with it."""
