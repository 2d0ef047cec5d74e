"""What lasts from one day to the next: the log of a bed, saved settings. Files only; no pixels, no screen."""
