"""What lasts from one day to the next: the log of a bed. Files only; no pixels, no screen."""
