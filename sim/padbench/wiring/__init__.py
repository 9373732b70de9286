"""What to solder, and what the sheet itself shows to be wired wrongly."""
