"""The live screen on a terminal: keys, sounds and the picture. It measures and judges nothing, and asks no clock."""
