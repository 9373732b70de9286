"""The repair bench: from what a broken pad reads to what is broken, and what to try next."""
