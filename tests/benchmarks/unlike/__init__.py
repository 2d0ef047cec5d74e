"""A second make-believe fluidised bed, written apart from the instrument it tests.

Powder is a cloud of carried grains, eruptions are bursts of a velocity potential, light is
Lambert's. Truth (air per zone, faults, hands in the picture) is written beside every clip.
"""
