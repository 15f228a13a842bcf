"""Tests of the room that knows the system."""
