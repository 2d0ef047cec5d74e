"""Finished values out: JSON lines for programs, a live screen or plain lines for people. Computes nothing."""
