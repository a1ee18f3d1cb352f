"""Bytes in, Log out."""
