"""Connections to real boards."""
