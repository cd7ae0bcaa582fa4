"""Measurements of speed: run by hand, compared with a floor measured in the same run, never asserted in a test."""
