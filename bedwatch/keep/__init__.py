"""What lasts: saved settings and the session log. Whole files or none; no pixels, no screen."""
