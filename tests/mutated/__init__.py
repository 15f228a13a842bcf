"""Every file and option of a user, damaged in many ways: one sentence, or a usable result."""
