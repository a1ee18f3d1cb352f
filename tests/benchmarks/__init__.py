"""Accuracy, speed and memory: commands to run by hand."""
