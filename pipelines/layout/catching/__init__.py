"""What catches the water, and the cheap cures before it."""
