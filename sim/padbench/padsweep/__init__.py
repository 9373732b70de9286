"""The exhaustive engine: many cases at once, none of them sampled or assumed."""
