"""bedwatch: a camera instrument for evening out a fluidised bed of coating powder."""

__version__ = "0.1.0"
