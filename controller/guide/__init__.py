"""The guide: its pages by topic, and what every sentence of the program means."""
